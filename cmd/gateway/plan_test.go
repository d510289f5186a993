package main

import (
	"context"
	"encoding/xml"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fabricpot/control/garden"
	"fabricpot/testdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestPlanOfTheExample(t *testing.T) {
	svg := filepath.Join(t.TempDir(), "g.svg")
	code, out, errs := gateway(context.Background(), "plan", "--hose", "strawberries=4:60", "--svg", svg)
	require.Equal(t, exitDone, code, errs.String())
	for _, want := range []string{"mild L/day", "if water stops", "When each line runs, three hot days", "The supply can give", "runs dry first", "chard is tended by hand", "hose of line strawberries"} {
		assert.Contains(t, out.String(), want)
	}
	file, err := os.Open(svg)
	require.NoError(t, err)
	defer file.Close()
	rects := 0
	for d := xml.NewDecoder(file); ; {
		tok, err := d.Token()
		if err == io.EOF {
			break
		}
		require.NoError(t, err, "well-formed")
		if e, ok := tok.(xml.StartElement); ok && e.Name.Local == "rect" {
			rects++
		}
	}
	assert.Positive(t, rects)
}

// More sun, more water; and pots without water fall dry in the order of what
// they hold against what they lose.
func TestPlanOrdersDays(t *testing.T) {
	u, err := understand(nil)
	require.NoError(t, err)
	u.garden.Hardware.Kind = garden.Bench
	day := time.Date(2026, 7, 10, 0, 0, 0, 0, u.garden.Site.Zone)
	f := planFlags{seed: 1}
	mild, err := f.preview(u, day, dayKind{"mild", 12, 22, 8})
	require.NoError(t, err)
	hot, err := f.preview(u, day, dayKind{"hot", 22, 36, 8})
	require.NoError(t, err)
	assert.Greater(t, hot.lineL, 1.2*mild.lineL)
	for i, z := range u.plan.Zones() {
		assert.LessOrEqual(t, hot.perDay(i), 2.5*z.PeakDailyL, "%s", z.ID)
		if !z.HandTended {
			assert.Less(t, hot.zones[i].stressed, 10.0, "%s", z.ID)
		}
	}
	dryHot, err := f.withoutWater(context.Background(), u, day, dayKind{"hot", 22, 36, 1})
	require.NoError(t, err)
	dryMild, err := f.withoutWater(context.Background(), u, day, dayKind{"mild", 12, 22, 1})
	require.NoError(t, err)
	for i, z := range u.plan.Zones() {
		assert.Less(t, dryHot[i], dryMild[i], "%s", z.ID)
		assert.Greater(t, dryHot[i], 24*time.Hour, "%s", z.ID)
	}
}

// Common practice, no source: four emitters for 75 L and a dozen for 400 L.
func TestUsualEmitters(t *testing.T) {
	for litres, want := range map[float64]int{75: 4, 400: 12, 20: 2, 0: 1, -1: 1} {
		assert.Equal(t, want, usualEmitters(litres), "%g L", litres)
	}
}

func TestPlanNotesTooFewEmittersAndStarvedHose(t *testing.T) {
	file := filepath.Join(t.TempDir(), "g.yaml")
	require.NoError(t, os.WriteFile(file, []byte(strings.Replace(string(testdata.Terrace), "aubergine: 4 x 2 L/h", "aubergine: 1 x 8 L/h", 1)), 0o600))
	u, err := understand([]string{file})
	require.NoError(t, err)
	none := make([]zonePreview, len(u.plan.Zones()))
	previews := []*preview{{zones: none}, {zones: none}}
	notes := strings.Join(planNotes(u, previews, make([]time.Duration, len(none))), "\n")
	assert.Contains(t, notes, "aubergine has 1 emitters where 4 are usual")
	hoses, err := readHoses(u, []string{"cucumber=4:80"})
	require.NoError(t, err)
	assert.Contains(t, strings.Join(hoseNotes(u, hoses), "\n"), "the far emitters starve")
	wide, err := readHoses(u, []string{"cucumber=13:8"})
	require.NoError(t, err)
	assert.NotContains(t, strings.Join(hoseNotes(u, wide), "\n"), "starve")
}

func TestPlanWrongUse(t *testing.T) {
	for _, h := range []string{"cucumber", "cucumber=13", "cucumber=x:1", "roses=13:8", "cucumber=-1:8", "cucumber=NaN:8"} {
		code, _, errs := gateway(context.Background(), "plan", "--hose", h)
		assert.Equal(t, exitWrongUse, code, "%s: %s", h, errs)
	}
	code, _, _ := gateway(context.Background(), "plan", "--date", "2026-02-31")
	assert.Equal(t, exitWrongUse, code)
}

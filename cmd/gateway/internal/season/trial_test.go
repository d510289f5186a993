package season

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	"fabricpot/control"
	"fabricpot/sim/policy"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// littleTrial is a fortnight of a garden of small pots, with one fault.
func littleTrial() TrialSet {
	c := TrialCase{Name: "fortnight", Group: groupSeasons, Garden: "small pots", Weather: "new-york", From: "2012-07-01", Days: 10, Tick: 5 * time.Minute, Curve: true}
	f := c
	f.Name, f.Group, f.Fault, f.Curve = "half blocked", groupFaults, fault{Kind: halfBlocked}, false
	return TrialSet{Name: "little", Cases: []TrialCase{c, f}, Seeds: 1}
}

func asJSON(t *testing.T, v any) string {
	t.Helper()
	out, err := json.Marshal(v)
	require.NoError(t, err)
	return string(out)
}

// TestTrial runs a little trial in two parts and holds it to what it promises:
// the same numbers side by side or one by one, nothing done twice, nothing of
// another program believed.
func TestTrial(t *testing.T) {
	set, dir := littleTrial(), t.TempDir()
	do := func(o TrialOptions) ([]TrialRun, int) {
		done := 0
		o.Done = func() { done++ }
		runs, err := Trials(context.Background(), set, o)
		require.NoError(t, err)
		return runs, done
	}
	// Stopped after three runs, as by a person.
	ctx, stop := context.WithCancel(context.Background())
	done := 0
	_, err := Trials(ctx, set, TrialOptions{Dir: dir, Program: "one", Workers: 1, Done: func() {
		if done++; done == 3 {
			stop()
		}
	}})
	require.ErrorIs(t, err, context.Canceled)
	files, err := filepath.Glob(filepath.Join(dir, "runs", "*.json"))
	require.NoError(t, err)
	require.Len(t, files, 3)
	stamp := func() time.Time {
		s, err := os.Stat(files[0])
		require.NoError(t, err)
		return s.ModTime()
	}
	before := stamp()

	runs, n := do(TrialOptions{Dir: dir, Program: "one", Workers: 2})
	assert.Equal(t, set.Runs(), n)
	assert.Equal(t, before, stamp(), "a finished run is not done again")
	again, _ := do(TrialOptions{Dir: t.TempDir(), Program: "one", Workers: 1})
	assert.Equal(t, asJSON(t, again), asJSON(t, runs), "the same numbers, interrupted or not, side by side or not")

	t.Run("another program believes nothing", func(t *testing.T) {
		src, err := os.ReadFile(files[0])
		require.NoError(t, err)
		var kept keptRun
		require.NoError(t, json.Unmarshal(src, &kept))
		j := set.jobs()[0]
		l := newTrialLab()
		forged := filepath.Join(dir, "runs", slug(j.c.Group+" "+j.c.Name)+"--"+slug(j.name)+"--1.json")
		kept.Run.Openings = 123456
		require.NoError(t, os.WriteFile(forged, []byte(asJSON(t, kept)), 0o644))
		run, err := l.kept(context.Background(), j, filepath.Join(dir, "runs"), "two")
		require.NoError(t, err)
		assert.NotEqual(t, 123456, run.Openings)
	})

	rows := Rows(set, runs)
	t.Run("who is who", func(t *testing.T) {
		row := func(c, p string) TrialRow {
			for _, r := range rows {
				if r.Case == c && r.Policy == p {
					return r
				}
			}
			require.Fail(t, "no row", "%s %s", c, p)
			return TrialRow{}
		}
		ideal, ours, timer := row("fortnight", policy.Ideal), row("fortnight", policy.Gateway), row("fortnight", policy.HottestWeek)
		assert.InDelta(t, 1, ideal.TimesIdeal.Mean, 1e-9)
		assert.Zero(t, ideal.LostShare.Mean)
		// The aims of the gateway on a terrace without leaching or faults.
		assert.LessOrEqual(t, ours.LostShare.Mean, 0.01)
		assert.LessOrEqual(t, ours.TimesIdeal.Mean, 1.15)
		assert.Less(t, ours.TimesIdeal.Mean, timer.TimesIdeal.Mean, "less water than the timer")
		assert.LessOrEqual(t, ours.LostShare.Mean, timer.LostShare.Mean+1e-6, "at no more stress")
		// A bound is one: whoever loses nothing has not used less.
		for _, r := range rows {
			if r.LostShare.Mean < 1e-4 {
				assert.GreaterOrEqual(t, r.TimesIdeal.Mean, 0.97, "%s, %s", r.Case, r.Policy)
			}
		}
		assert.Greater(t, row("half blocked", policy.HottestWeek).WorstPot.Mean, timer.WorstPot.Mean, "a fault shows")
		assert.Positive(t, ours.Openings.Mean)
		assert.Zero(t, row("fortnight", policy.Careful).Openings.Mean, "a person opens no valve")
	})
	t.Run("every litre is somewhere", func(t *testing.T) {
		for _, r := range runs {
			for _, z := range r.Zones {
				assert.LessOrEqual(t, z.TranspiredL, z.PotentialTranspirationL+1e-9)
				assert.LessOrEqual(t, z.DrainedL+z.StoredChangeL+z.TranspiredL, z.AppliedL+z.RainL+1e-6, "%s, %s, %s", r.Case, r.Policy, z.Name)
			}
		}
	})
	t.Run("tables and pictures", func(t *testing.T) { written(t, set, rows, runs) })
}

func written(t *testing.T, set TrialSet, rows []TrialRow, runs []TrialRun) {
	var out bytes.Buffer
	require.NoError(t, WriteTrialTable(&out, set, rows))
	assert.Contains(t, out.String(), policy.Careful)
	assert.Contains(t, out.String(), "half blocked")
	assert.NotContains(t, out.String(), "NaN")
	out.Reset()
	require.NoError(t, WriteTrialCSV(&out, rows))
	lines, err := csv.NewReader(&out).ReadAll()
	require.NoError(t, err)
	assert.Len(t, lines, len(rows)+1)
	out.Reset()
	require.NoError(t, WriteTrialJSON(&out, set, rows, runs))
	var back struct{ Runs []TrialRun }
	require.NoError(t, json.Unmarshal(out.Bytes(), &back))
	assert.Equal(t, asJSON(t, runs), asJSON(t, back.Runs))

	for name, draw := range map[string]func() ([]byte, error){
		"water":  func() ([]byte, error) { return DrawAllSeasons(rows) },
		"pot":    func() ([]byte, error) { return DrawCurves(set, runs) },
		"faults": func() ([]byte, error) { return DrawFaults(set, rows) },
	} {
		svg, err := draw()
		require.NoError(t, err, name)
		assert.Contains(t, string(svg), policy.Gateway, name)
		d := xml.NewDecoder(bytes.NewReader(svg))
		for err == nil {
			_, err = d.Token()
		}
		assert.ErrorIs(t, err, io.EOF, name)
	}
}

// TestTrialSets: every case can be built, is named once, and has its weather.
func TestTrialSets(t *testing.T) {
	for _, set := range []TrialSet{QuickTrial(), FullTrial()} {
		names := map[string]bool{}
		curves := 0
		for _, c := range set.Cases {
			assert.False(t, names[c.Name], "%s twice", c.Name)
			names[c.Name] = true
			g, err := c.garden()
			require.NoError(t, err, c.Name)
			_, _, err = control.NewPlan(g)
			require.NoError(t, err, c.Name)
			rows, err := c.weather(g.Site.Zone)
			require.NoError(t, err, c.Name)
			from := c.from(g.Site.Zone)
			_, ok := Covered(rows, from, from.AddDate(0, 0, c.Days-1))
			assert.True(t, ok, c.Name)
			if c.Curve {
				curves++
			}
		}
		assert.Equal(t, 1, curves)
		for _, f := range faults() {
			assert.True(t, names[string(f.Kind)], "%s: %s", set.Name, f.Kind)
		}
	}
}

// TestFaultsStrike: each fault changes the season of the gateway, or that of a
// timer where the gateway may have wanted no water just then.
func TestFaultsStrike(t *testing.T) {
	base := littleTrial().Cases[0]
	base.Curve = false
	lab := newTrialLab()
	run := func(f fault, name string) TrialRun {
		c := base
		c.Fault = f
		r, err := lab.run(context.Background(), c, name, 1)
		require.NoError(t, err)
		return r
	}
	whole := map[string]TrialRun{}
	for _, name := range []string{policy.Gateway, policy.HottestWeek} {
		whole[name] = run(fault{}, name)
	}
	for _, f := range faults() {
		t.Run(string(f.Kind), func(t *testing.T) {
			name := policy.Gateway
			if f.Kind == supplyOff {
				name = policy.HottestWeek
			}
			r := run(f, name)
			assert.NotEqual(t, asJSON(t, whole[name].Zones), asJSON(t, r.Zones), "nothing happened")
			require.NotEmpty(t, r.FaultZone)
			if f.Kind == allBlocked || f.Kind == probeDead {
				require.NotNil(t, r.AlarmHours, "an alarm")
				assert.GreaterOrEqual(t, *r.AlarmHours, 0.0)
			}
		})
	}
}

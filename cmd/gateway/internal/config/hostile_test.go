package config_test

import (
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/control/garden"
	"fabricpot/testdata"
)

// TestHostileFiles: a megabyte that would keep the YAML parser busy for minutes
// (quadratic in keys side by side, slow on nesting) is dealt with at once. The
// limit is wide, and wider where the machine takes long for a file that is let
// through and only wide; the point is that it isn't minutes.
func TestHostileFiles(t *testing.T) {
	const mega = 1 << 20
	fill := func(unit string) string { return strings.Repeat(unit, (mega-64)/len(unit)) }
	wide := func() string {
		var b strings.Builder
		for i := 0; b.Len() < mega-20; i++ {
			fmt.Fprintf(&b, "k%d: 1\n", i)
		}
		return b.String()
	}
	stairs := func() string {
		var b strings.Builder
		for i := 0; b.Len() < mega-2000; i++ {
			b.WriteString(strings.Repeat(" ", i) + "a:\n")
		}
		return b.String()
	}
	nearWide := func() string {
		var b strings.Builder
		for p := range 10 { // 57 000 tokens
			fmt.Fprintf(&b, "p%d:\n", p)
			for i := range 1900 {
				fmt.Fprintf(&b, " k%d: 1\n", i)
			}
		}
		return b.String()
	}
	begun := time.Now()
	_, _, err := config.Load("h", []byte(nearWide()))
	require.Error(t, err)
	limit := max(10*time.Second, 20*time.Since(begun))
	for name, src := range map[string]string{
		"one key again and again": fill("a: 1\n"), "wide": wide(), "just not too wide": nearWide(), "stairs": stairs(),
		"brackets": fill("["), "braces with keys": fill("{a: "), "dashes": fill("- "), "questions": fill("? a\n"),
		"long bracketed list": "a: [" + fill("1,") + "]", "long bracketed mapping": "a: {" + fill("b: 1, ") + "}",
		"documents": fill("---\na: 1\n"), "aliases": "a: &a x\n" + fill("b: *a\n"), "anchors": fill("a: &x 1\n"),
		"tags": fill("!"), "directives": fill("%a\n"), "colons": fill(":"), "tabs": fill("\t"), "NULs": fill("\x00"),
		"one text": "a: \"" + fill("x"), "escapes": "a: \"" + fill("\\x41"), "block text": "a: |\n" + fill("  x\n"),
		"comments": fill("# x\n"), "spaces": fill(" "), "lines": fill("\n"), "carriage returns": fill("\r\n"),
		"short brackets": fill("a: " + strings.Repeat("[", 15) + strings.Repeat("]", 15) + "\n"),
		"unknown keys":   "site:\n" + strings.Repeat("  "+strings.Repeat("x", 40)+": 1\n", 1900),
		"bad names":      "pots:\n" + strings.Repeat("  B_: {}\n", 1900),
		"too large":      fill("#") + strings.Repeat("#", 100),
	} {
		t.Run(name, func(t *testing.T) {
			start := time.Now()
			g, _, err := config.Load("h", []byte(src))
			took := time.Since(start)
			require.Error(t, err)
			require.Nil(t, g)
			assert.Less(t, took, limit)
			assert.Less(t, len(err.Error()), 60_000, "messages stay bounded too")
			t.Logf("%d bytes, %v, %.120s", len(src), took.Round(time.Millisecond), err)
		})
	}
}

// TestLargeGarden: a thousand pots still load, so the bounds bite only what no
// terrace has.
func TestLargeGarden(t *testing.T) {
	var b strings.Builder
	b.WriteString(replace(t, small, "pots:\n", "pots:\n"+func() string {
		var p strings.Builder
		for i := range 1000 {
			fmt.Fprintf(&p, "  extra-%d:\n    mix: light\n    size: 75 L\n    hand-tended: yes\n    plants:\n      - { crop: basil, count: 2 }\n", i)
		}
		return p.String()
	}()))
	start := time.Now()
	g, _, err := config.Load("large", []byte(b.String()))
	require.NoError(t, err)
	require.Len(t, g.Pots, 1002)
	t.Logf("%d bytes in %v", b.Len(), time.Since(start).Round(time.Millisecond))
}

func FuzzLoad(f *testing.F) {
	for _, src := range [][]byte{testdata.Terrace, testdata.Heatwave, testdata.Garden12, []byte(full), []byte(small)} {
		f.Add(src)
	}
	for _, c := range slips() {
		f.Add([]byte(strings.Replace(small, c.old, c.new, 1)))
	}
	f.Fuzz(func(t *testing.T, src []byte) {
		g, s, err := config.Load("fuzz", src)
		require.NotNil(t, s)
		if err != nil {
			require.Nil(t, g)
			ps, ok := err.(config.Problems)
			require.True(t, ok)
			require.NotEmpty(t, ps)
			for _, p := range ps {
				require.Positive(t, p.Line)
				require.Positive(t, p.Column)
			}
			return
		}
		requireFinite(t, reflect.ValueOf(*g), "garden")
		requireSound(t, g)
		again, _, err := config.Load("fuzz", src)
		require.NoError(t, err)
		require.Equal(t, g, again, "one text, one garden")
	})
}

// requireFinite walks everything and finds NaN and infinities.
func requireFinite(t *testing.T, v reflect.Value, path string) {
	t.Helper()
	switch v.Kind() {
	case reflect.Float64:
		require.False(t, math.IsNaN(v.Float()) || math.IsInf(v.Float(), 0), path)
	case reflect.Struct:
		if v.Type() == reflect.TypeFor[time.Time]() {
			return
		}
		for i := range v.NumField() {
			requireFinite(t, v.Field(i), path+"."+v.Type().Field(i).Name)
		}
	case reflect.Slice, reflect.Array:
		for i := range v.Len() {
			requireFinite(t, v.Index(i), path)
		}
	}
}

// requireSound checks again, apart from the code under test, what everybody
// relies on in a garden that loaded.
func requireSound(t *testing.T, g *garden.Garden) {
	t.Helper()
	require.NotNil(t, g.Site.Zone)
	require.True(t, garden.ValidID(g.Site.ID))
	zones, inputs, fed := map[garden.ZoneID]bool{}, map[garden.Input]bool{}, map[garden.ZoneID]garden.LineID{}
	for _, l := range g.Lines {
		require.NotEmpty(t, l.Outlets)
		require.LessOrEqual(t, l.FlowLPH(), g.Supply.FlowLPH*(1+1e-6))
		require.LessOrEqual(t, l.MaxOn, g.Limits.MaxOn)
		for _, o := range l.Outlets {
			require.Empty(t, fed[o.Zone])
			fed[o.Zone] = l.ID
			require.Positive(t, o.Emitters)
			require.Positive(t, o.FlowLPH)
		}
	}
	for _, p := range g.Pots {
		_, ok := g.Mix(p.Mix)
		require.True(t, ok)
		require.GreaterOrEqual(t, p.VolumeL, 1.0)
		require.LessOrEqual(t, p.VolumeL, 2000.0)
		s := p.Shape
		require.InEpsilon(t, p.VolumeL, math.Pi*s.HeightCM/12000*(s.TopDiameterCM*s.TopDiameterCM+s.TopDiameterCM*s.BottomDiameterCM+s.BottomDiameterCM*s.BottomDiameterCM), 1e-9+0.15)
		share := 0.0
		for _, z := range p.Zones {
			require.True(t, garden.ValidID(string(z.ID)))
			require.False(t, zones[z.ID])
			zones[z.ID] = true
			require.Equal(t, fed[z.ID], z.Line)
			share += z.Share
			for _, pr := range z.Probes {
				require.Less(t, pr.DepthCM, s.HeightCM)
				if pr.Remote != nil {
					require.NotEmpty(t, g.Broker.URL)
					require.NotEmpty(t, pr.Remote.Quantity)
					continue
				}
				require.False(t, inputs[pr.Input])
				inputs[pr.Input] = true
			}
		}
		require.InDelta(t, 1, share, 1e-9)
	}
}

package season

import (
	"testing"
	"time"

	"fabricpot/control"
	"fabricpot/control/garden"
	"fabricpot/sim/bench"
	"fabricpot/sim/terrace"
	"fabricpot/testdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestALossThatIsNoPlantsIsTold: a fortnight of peace, then something breaks, and
// the zone it happens to is named with what it looks like. That the peace itself
// raises nothing is in TestEstimatorOnTheBench, over seasons.
func TestALossThatIsNoPlantsIsTold(t *testing.T) {
	const quiet, after = 14, 16
	more, less := control.DrinksMore, control.DrinksLess
	for _, c := range []struct {
		name string
		zone garden.ZoneID
		do   func(b *Bench)
		// any of these tells a person where to look
		want []control.EventKind
	}{
		{"emitters clogged to a third", "aubergine", func(b *Bench) { b.Terrace.BlockEmitters("aubergine", 0, 0.67) },
			[]control.EventKind{more, control.ZoneNoResponse, control.ProbeNoResponse}},
		{"half of the emitters clogged", "trough-cucumber", func(b *Bench) { b.Terrace.BlockEmitters("cucumber", 1, 0.5) },
			[]control.EventKind{control.LessArrives}},
		{"a valve that leaks into the pot", "trough-bean", func(b *Bench) { b.Terrace.LeakValve("bean", 0.15) },
			[]control.EventKind{less}},
		{"a probe that drifts", "chilli", func(b *Bench) {
			in, _ := b.Wires.Input("chilli-middle")
			in.Fail(bench.Drifting, -0.0025)
		}, []control.EventKind{less, control.ProbeNoResponse, control.OnBalance}},
		{"a plant that hardly drinks any more", "trough-cucumber", func(b *Bench) { b.Terrace.ScaleCanopy(1, 0.05) },
			[]control.EventKind{less}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			g := load(t, "terrace.yaml", testdata.Terrace)
			e := &listener{opened: map[garden.ZoneID][]opening{}}
			b, err := NewBench(g, Options{Seed: 2, Start: time.Date(2014, 7, 1, 0, 0, 0, 0, g.Site.Zone), Tell: e,
				Weather: days(t, "seattle-weather.csv", g.Site.Zone), Terrace: terrace.DefaultOptions(2, nil)})
			require.NoError(t, err)
			require.NoError(t, b.Begin())
			b.RunTo(quiet * 24 * time.Hour)
			odd := func() (n int) {
				for _, ev := range e.heard {
					for _, k := range c.want {
						if ev.Kind == k && ev.Zone == c.zone {
							n++
						}
					}
				}
				return n
			}
			require.Zero(t, odd(), "before anything broke")
			c.do(b)
			told := -1.0
			for h := 1; h <= after*24 && told < 0; h++ {
				b.RunTo(quiet*24*time.Hour + time.Duration(h)*time.Hour)
				if odd() > 0 {
					told = float64(h) / 24
				}
			}
			b.End()
			require.Positive(t, told, "never told of; heard %v", e.heard)
			t.Logf("told after %.1f days", told)
			for _, ev := range e.heard {
				if ev.Kind == more || ev.Kind == less {
					assert.Equal(t, c.zone, ev.Zone, "of the wrong pot: %s", ev)
				}
			}
		})
	}
}

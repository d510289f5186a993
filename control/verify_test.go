package control

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
)

// Two probes, the lower of which never moves while the upper answers each
// watering. Where it reads moist it is out; where it reads dry it may well be
// right, since water that is too little stays above: half the emitters clogged.
func TestADryDepthIsNoDeadProbe(t *testing.T) {
	run := func(water float64) map[garden.ProbeID]bool {
		g := testGarden(1, 12)
		z := &g.Pots[0].Zones[0]
		z.Probes = append(z.Probes, garden.Probe{ID: "deep", Zone: z.ID, DepthCM: 38})
		b := newBench(t, g)
		pp := &b.p.probes[1]
		stays := float64(pp.profile.AtProbe(garden.WaterFraction(water)))
		b.lie = func(i int, v float64) float64 {
			if i == 1 {
				return stays
			}
			return v
		}
		b.run(25 * 24 * time.Hour)
		out := map[garden.ProbeID]bool{}
		for _, e := range b.events {
			assert.NotEqual(t, ZoneNoResponse, e.Kind, "the upper one answers: %v", e)
			if e.Kind == ProbeNoResponse {
				out[e.Probe] = true
			}
		}
		return out
	}
	z := newBench(t, testGarden(1, 12)).p.zones[0]
	assert.True(t, run(float64(z.Capacity) - 0.01)["deep"])
	assert.Empty(t, run(float64(z.LowerLimit)))
}

// A probe that gives nothing, before the water or since, is not one that did not
// move, and no sign that its emitters give nothing.
func TestASilentProbeSaysNothingOfTheWater(t *testing.T) {
	for name, during := range map[string]bool{"silent before": false, "silent since": true} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, testGarden(1, 12))
			for n := 0; len(b.log) == 0 || !during && len(b.open) > 0; n++ {
				require.Less(t, n, 10*24*60, "nothing was ordered")
				b.tick()
			}
			if !during {
				b.run(settled + time.Hour) // its last answer is judged
			}
			b.quality = garden.Bad
			orders := len(b.log)
			b.run(5 * 24 * time.Hour)
			assert.Greater(t, len(b.log), orders, "watered by reckoning")
			for _, e := range b.events {
				assert.NotContains(t, []EventKind{ProbeNoResponse, ZoneNoResponse}, e.Kind, "%v", e)
			}
		})
	}
}

package control

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

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

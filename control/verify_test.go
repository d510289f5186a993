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
		// Nor does it say that no water came where the upper one falls silent.
		b.quality = garden.Bad
		b.run(2 * trustFor)
		seen := b.p.View(b.st, b.now, nil)[0]
		assert.False(t, seen.OnProbe)
		assert.False(t, seen.NoAnswer)
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

// Water ahead of a heat fills the pot day by day before a band is gone: most is drunk
// before it is far down, and a deep probe moves by less than whole bands move it.
// One that moves no more after whole bands, or less still, is out all the same.
func TestADeepProbeAnswersSmallWaterings(t *testing.T) {
	doubted := func(part, moved float64) bool {
		g := testGarden(1, 12)
		z := &g.Pots[0].Zones[0]
		z.Probes = append(z.Probes, garden.Probe{ID: "deep", Zone: z.ID, DepthCM: 38})
		b := newBench(t, g)
		b.run(time.Hour)
		zs, zp, deep := &b.st.zones[0], &b.p.zones[0], &b.st.probes[1]
		moist := float64(b.p.probes[1].profile.AtProbe(zp.Capacity)) - 0.01
		deep.smooth = moist
		deep.answer()
		for given := 0.0; given < slowRefills+part; given += part {
			for i := range b.st.probes {
				ps := &b.st.probes[i]
				ps.started, ps.at, ps.rise = true, b.now.Mono, 0.04
			}
			zs.before, zs.gave = float64(zp.Refill), part*zp.band(1)*zp.VolumeL
			deep.rise, deep.low, deep.high = moved, moist-moved, moist
			b.p.judgeProbes(b.st, 0, b.now)
			if deep.distrusted {
				return true
			}
		}
		return false
	}
	assert.False(t, doubted(0.6, 0.0134))
	assert.True(t, doubted(0.6, 0.0085), "six tenths of what whole bands must move it by")
	assert.True(t, doubted(1, 0.0134), "whole bands")
	assert.False(t, doubted(1, 0.0155))
	assert.True(t, doubted(0.1, 0.0075), "never less than an upper probe moves by")
}

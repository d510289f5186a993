package control

import (
	"math"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// twoOnALine is a plan whose first line waters two zones with pinned probes.
func twoOnALine(t testing.TB) (*Plan, *State) {
	b := newBench(t, testGarden(2, 40))
	p, st := b.p, b.st
	p.lines = p.lines[:1]
	p.lines[0].zones = []int{0, 1}
	for i := range 2 {
		p.zones[i].share, p.zones[i].compared = 0.5, true
	}
	return p, st
}

func TestPotsOfOneLineAreCompared(t *testing.T) {
	p, st := twoOnALine(t)
	a, b := &st.zones[0], &st.zones[1]
	see := func(ra, rb float64) {
		a.uneven.seen, a.uneven.rise, a.uneven.of = true, ra, 0.06
		b.uneven.seen, b.uneven.rise, b.uneven.of = true, rb, 0.06
		p.compare(st, 0)
	}
	assert.Equal(t, 0.5, a.shareOf(&p.zones[0]), "as rated until seen")
	a.uneven.seen = true
	p.compare(st, 0)
	assert.Zero(t, a.uneven.part, "one alone says nothing")
	for range 30 {
		see(1.15*0.9, 0.85*0.9) // what both err by alike drops out
	}
	assert.InDelta(t, 1.15, a.uneven.part, 0.03)
	assert.InDelta(t, 0.85, b.uneven.part, 0.03)
	assert.InDelta(t, 1, a.shareOf(&p.zones[0])+b.shareOf(&p.zones[1]), 1e-12, "no litre more or less")
	for range 100 {
		see(5, 0.1)
	}
	assert.LessOrEqual(t, a.uneven.part, 1+mostUneven+1e-12, "a fault is no property of emitters")
	assert.GreaterOrEqual(t, b.uneven.part, 1-mostUneven-1e-12)
}

// A look near capacity tells nothing, and leaves no older one standing.
func TestALookAtAFullPotIsNone(t *testing.T) {
	p, st := twoOnALine(t)
	z, zp := &st.zones[0], &p.zones[0]
	water := func(from, to float64) {
		z.uneven.came = 0
		z.lookUneven(zp, from)
		z.uneven.came = 0.08 * zp.VolumeL
		z.lookUneven(zp, to)
	}
	dry := float64(zp.Capacity) - 0.2
	water(dry, dry+0.08)
	require.True(t, z.uneven.seen)
	assert.InDelta(t, 1, z.uneven.rise, 1e-9)
	water(float64(zp.Capacity)-0.05, float64(zp.Capacity))
	assert.False(t, z.uneven.seen)
}

func TestUnevenPartsKeepTheLinesLitres(t *testing.T) {
	p, st := twoOnALine(t)
	rapid.Check(t, func(t *rapid.T) {
		share := rapid.Float64Range(0.05, 0.95).Draw(t, "share")
		p.zones[0].share, p.zones[1].share = share, 1-share
		check := func(st *State, what string) {
			sum := 0.0
			for i := range 2 {
				assert.LessOrEqual(t, math.Abs(st.zones[i].uneven.part-1), mostUneven+1e-9, what)
				sum += st.zones[i].shareOf(&p.zones[i])
			}
			assert.InDelta(t, 1, sum, 1e-9, what)
		}
		for range rapid.IntRange(1, 8).Draw(t, "looks") {
			for i := range 2 {
				u := &st.zones[i].uneven
				u.seen = true
				u.rise = rapid.Float64Range(0.4, 2.5).Draw(t, "rise")
				u.of = rapid.Float64Range(leastRise, 0.5).Draw(t, "of")
			}
			p.compare(st, 0)
		}
		check(st, "learnt")
		m := p.Remember(st, garden.Moment{})
		m.Zones[0].Part *= rapid.Float64Range(0.1, 3).Draw(t, "tampered")
		again := p.NewState()
		p.Recall(again, garden.Moment{}, m, nil)
		check(again, "recalled")
		p.zones[0].compared = false
		assert.Equal(t, share, again.zones[0].shareOf(&p.zones[0]), "of no use where it is not watched any more")
		p.zones[0].compared = true
	})
}

// Two pots of one line, one of whose emitters give a fifth more than the other's,
// are told apart by their probes through Step alone; a can into one of them does
// not mislead.
func TestUnevenEmittersShowThroughStep(t *testing.T) {
	g := testGarden(2, 22)
	g.Mixes[0].Calibration = garden.Calibration{Kind: garden.TwoPoint, Points: []garden.CalibrationPoint{{Volts: 2.5, Water: 0.1}, {Volts: 1.3, Water: 0.6}}}
	g.Pots[1].Zones[0].Line = g.Pots[0].Zones[0].Line
	g.Lines[0].Outlets = append(g.Lines[0].Outlets, g.Lines[1].Outlets...)
	g.Lines = g.Lines[:1]
	b := newBench(t, g)
	require.True(t, b.p.zones[0].compared)
	b.parts = []float64{1.1, 0.9}
	b.run(45 * 24 * time.Hour)
	a, o := b.st.zones[0].uneven.part, b.st.zones[1].uneven.part
	assert.Greater(t, a, 1.04, "at least half of it, since the wetter one loses some below")
	assert.Less(t, o, 0.96)
	b.obs.Asks = append(b.obs.Asks, garden.Ask{Kind: garden.GardenerWatered, Zone: "pot1", Litres: 3})
	b.mean[1] += 3 / b.p.zones[1].VolumeL
	b.tick()
	assert.False(t, b.st.zones[1].uneven.open, "what came by hand is no part of the line's")
}

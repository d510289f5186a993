package control

import (
	"testing"

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
	assert.LessOrEqual(t, a.uneven.part, 1+mostUneven+0.1, "a fault is no property of emitters")
	assert.GreaterOrEqual(t, b.uneven.part, 1-mostUneven-0.1)
}

func TestUnevenPartsAlwaysSumToOne(t *testing.T) {
	p, st := twoOnALine(t)
	rapid.Check(t, func(t *rapid.T) {
		for i := range 2 {
			u := &st.zones[i].uneven
			u.seen = true
			u.rise = rapid.Float64Range(-2, 5).Draw(t, "rise")
			u.of = rapid.Float64Range(leastRise, 0.5).Draw(t, "of")
		}
		p.compare(st, 0)
		sum := 0.0
		for i := range 2 {
			part := st.zones[i].shareOf(&p.zones[i])
			require.Greater(t, part, 0.3)
			sum += part
		}
		assert.InDelta(t, 1, sum, 1e-9)
	})
}

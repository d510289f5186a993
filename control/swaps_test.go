package control

import (
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
)

// swapRig is two pots with a probe and a line each, and a third line's pot.
type swapRig struct {
	s   *Swaps
	now time.Duration
	obs garden.Observed
}

func newSwapRig() *swapRig {
	g := &garden.Garden{}
	for _, n := range []string{"a", "b", "c"} {
		z := garden.Zone{ID: garden.ZoneID(n), Line: garden.LineID(n), Probes: []garden.Probe{{ID: garden.ProbeID(n), Zone: garden.ZoneID(n)}}}
		g.Pots = append(g.Pots, garden.Pot{ID: garden.PotID(n), Zones: []garden.Zone{z}})
		g.Lines = append(g.Lines, garden.Line{ID: garden.LineID(n)})
	}
	r := &swapRig{s: NewSwaps(g), now: 10 * time.Hour}
	for _, n := range []string{"a", "b", "c"} {
		r.obs.Readings = append(r.obs.Readings, garden.Reading{Probe: garden.ProbeID(n), Zone: garden.ZoneID(n), Quality: garden.Good, Water: 0.3})
	}
	return r
}

// water runs a line for half an hour, in which readings rise, and waits until it is
// judged; whatever ran meanwhile ends with it.
func (r *swapRig) water(line string, rise [3]float64, meanwhile ...string) (out []Swapped) {
	pass := func(d time.Duration) {
		for end := r.now + d; r.now < end; r.now += time.Minute {
			if s, ok := r.s.See(r.now, &r.obs); ok {
				out = append(out, s)
			}
			r.obs.Delivered = nil
		}
	}
	pass(3 * time.Hour)
	began := garden.Moment{Mono: r.now}
	pass(30 * time.Minute)
	for _, l := range append([]string{line}, meanwhile...) {
		r.obs.Delivered = append(r.obs.Delivered, garden.Delivery{Line: garden.LineID(l), Litres: 2, OpenedAt: began, ClosedAt: garden.Moment{Mono: r.now}})
	}
	for i := range rise {
		r.obs.Readings[i].Water += garden.WaterFraction(rise[i])
	}
	pass(2 * time.Hour)
	for i := range rise {
		r.obs.Readings[i].Water -= garden.WaterFraction(rise[i])
	}
	return out
}

func TestSwappedPlugs(t *testing.T) {
	swapped := [3]float64{0, 0.06, 0}
	t.Run("twice in a row", func(t *testing.T) {
		r := newSwapRig()
		assert.Empty(t, r.water("a", swapped), "once may be a hand with a can")
		assert.Equal(t, []Swapped{{"a", "a", "b"}}, r.water("a", swapped))
		assert.Len(t, r.water("a", swapped), 1, "and as long as it lasts")
	})
	t.Run("a pot that answers to its own water", func(t *testing.T) {
		r := newSwapRig()
		for range 4 {
			assert.Empty(t, r.water("a", [3]float64{0.05, 0.06, 0}))
		}
		r.water("a", swapped)
		r.water("a", [3]float64{0.05, 0, 0})
		assert.Empty(t, r.water("a", swapped), "not in a row")
	})
	t.Run("one that can't be read takes nothing back", func(t *testing.T) {
		r := newSwapRig()
		r.water("a", swapped)
		r.obs.Readings[1].Quality = garden.Bad
		assert.Empty(t, r.water("a", [3]float64{}))
		r.obs.Readings[1].Quality = garden.Good
		assert.Len(t, r.water("b", [3]float64{0.06, 0, 0}), 1, "the pot was soaked meanwhile")
		r = newSwapRig()
		r.water("a", swapped)
		r.obs.Readings[2].Quality = garden.Bad
		assert.Empty(t, r.water("a", [3]float64{}), "a third says nothing of the two")
		assert.Empty(t, r.water("a", swapped))
	})
	t.Run("another's own water, and rain", func(t *testing.T) {
		r := newSwapRig()
		for range 4 {
			assert.Empty(t, r.water("a", swapped, "b"))
		}
		r.obs.Today.RainMM = garden.Known(2)
		for range 4 {
			assert.Empty(t, r.water("a", swapped))
		}
	})
	t.Run("two pots that answer are no plug", func(t *testing.T) {
		r := newSwapRig()
		for range 4 {
			assert.Empty(t, r.water("a", [3]float64{0, 0.06, 0.06}))
		}
	})
	t.Run("nor once this pot, once that", func(t *testing.T) {
		r := newSwapRig()
		for range 3 {
			assert.Empty(t, r.water("a", swapped))
			assert.Empty(t, r.water("a", [3]float64{0, 0, 0.06}))
		}
	})
	t.Run("nor with waterings between that nobody answers", func(t *testing.T) {
		r := newSwapRig()
		for range 3 {
			assert.Empty(t, r.water("a", swapped))
			assert.Empty(t, r.water("a", [3]float64{}))
			assert.Empty(t, r.water("a", [3]float64{}))
		}
	})
	t.Run("nor once this of its own, once that", func(t *testing.T) {
		r := newSwapRig()
		r.s.probes[2].line = 0 // a and c hang on one line
		for range 3 {
			assert.Empty(t, r.water("a", [3]float64{0, 0.06, 0.06}))
			assert.Empty(t, r.water("a", [3]float64{0.06, 0.06, 0}))
		}
		assert.Equal(t, []Swapped{{"a", "c", "b"}}, r.water("a", [3]float64{0.06, 0.06, 0}))
	})
	t.Run("once by the water of each of its lines", func(t *testing.T) {
		r := newSwapRig()
		assert.Empty(t, r.water("a", swapped))
		assert.Equal(t, []Swapped{{"b", "b", "a"}}, r.water("b", [3]float64{0.06, 0, 0}))
		r = newSwapRig()
		r.water("a", swapped)
		assert.Empty(t, r.water("b", swapped), "the other answers to its own line")
		assert.Empty(t, r.water("a", swapped))
	})
	t.Run("beside a line whose own probe answers", func(t *testing.T) {
		r := newSwapRig()
		both := [3]float64{0, 0.06, 0.06}
		assert.Empty(t, r.water("a", both, "c"))
		assert.Equal(t, []Swapped{{"a", "a", "b"}}, r.water("a", both, "c"))
		r = newSwapRig()
		for range 4 {
			assert.Empty(t, r.water("a", swapped, "c"), "it may be c's water")
		}
		r = newSwapRig()
		r.water("a", swapped)
		assert.Empty(t, r.water("a", [3]float64{0.06, 0.06, 0}, "b"), "which says nothing")
		assert.Len(t, r.water("a", swapped), 1)
	})
	t.Run("a drop says nothing", func(t *testing.T) {
		r := newSwapRig()
		r.water("a", swapped)
		assert.Empty(t, r.water("a", [3]float64{0, 0.015, 0}))
		assert.Len(t, r.water("a", swapped), 1)
	})
	t.Run("rain by the gauge, where there is one", func(t *testing.T) {
		r := newSwapRig()
		r.obs.Today.RainMM, r.obs.Now.RainMM = garden.Known(2), garden.Known(0)
		r.water("a", swapped)
		assert.Len(t, r.water("a", swapped), 1)
		r = newSwapRig()
		r.obs.Today.RainMM, r.obs.Now.RainMM = garden.Known(0), garden.Known(0.2)
		for range 4 {
			assert.Empty(t, r.water("a", swapped))
		}
	})
	t.Run("what showed long ago is forgotten", func(t *testing.T) {
		r := newSwapRig()
		r.water("a", swapped)
		r.now += swapSoon
		assert.Empty(t, r.water("a", swapped))
	})
	t.Run("a deep probe may rise by its own water of long ago", func(t *testing.T) {
		r := newSwapRig()
		for i := range r.s.probes {
			r.s.probes[i].top = i != 1
		}
		for range 4 {
			assert.Empty(t, r.water("a", swapped))
		}
	})
	t.Run("nor takes a bad reading of its own anything back", func(t *testing.T) {
		r := newSwapRig()
		r.s.probes[2].line = 0 // a and c hang on one line
		r.obs.Readings[2].Quality = garden.Uncertain
		r.water("a", swapped)
		assert.Equal(t, []Swapped{{"a", "a", "b"}}, r.water("a", swapped))
	})
	t.Run("a bad reading says nothing", func(t *testing.T) {
		r := newSwapRig()
		r.obs.Readings[0].Quality = garden.Bad
		for range 4 {
			assert.Empty(t, r.water("a", swapped))
		}
	})
	t.Run("allocates nothing", func(t *testing.T) {
		r := newSwapRig()
		assert.Zero(t, testing.AllocsPerRun(500, func() { r.now += time.Minute; r.s.Runs("a", r.now, r.now); r.s.See(r.now, &r.obs) }))
	})
}

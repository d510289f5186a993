package feeding

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"fabricpot/control/feed"
	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What a flush does for the other zones of its line costs as much as that line has,
// whatever else the garden holds: it is asked in every tick of every zone whose feed
// is due. Looking through all zones would cost a thousand times as much in the
// large garden.
func TestCostOfAFlushIsItsLines(t *testing.T) {
	const few, many, bound = 5, 5000, 10
	least := func(zones int) time.Duration {
		g := testGarden()
		for i := len(g.Pots); i < zones; i++ {
			pot := testGarden().Pots[0]
			z := &pot.Zones[0]
			pot.ID = garden.PotID(fmt.Sprint("p", i))
			z.ID, z.Pot, z.Line = garden.ZoneID(pot.ID), pot.ID, garden.LineID(pot.ID)
			line := garden.Line{ID: z.Line, DU: .9, Valve: garden.Valve{Kind: garden.PinValve, Pin: i},
				Outlets: []garden.Outlet{{Zone: z.ID, Emitters: 4, FlowLPH: 2}}}
			g.Pots, g.Lines = append(g.Pots, pot), append(g.Lines, line)
		}
		r := newRig(t, g, Past{})
		r.st.zones[2].flushL = garden.Known(3)
		var took []time.Duration
		for range 9 {
			start := time.Now()
			for range 2000 {
				var fv feed.View
				r.p.flushFor(r.st, 1, &fv)
				if fv.FlushL != garden.Known(6) {
					require.Equal(t, garden.Known(6), fv.FlushL, "c gets half of what b gets")
				}
			}
			took = append(took, time.Since(start))
		}
		return slices.Min(took)
	}
	a, b := least(few), least(many)
	t.Logf("%v in a garden of %d zones, %v of %d: × %.2f", a, few, b, many, float64(b)/float64(a))
	assert.Less(t, float64(b), bound*float64(a))
}

// Each zone of a line is told what it gets for a litre of another's, with an
// injector or without; one that is not fed is left out.
func TestOthersOfALine(t *testing.T) {
	of := func(g *garden.Garden, i int) map[int]float64 {
		r, out := newRig(t, g, Past{}), map[int]float64{}
		r.p.others(i, func(k int, per float64) { out[k] = per })
		return out
	}
	for _, injector := range []bool{true, false} {
		g := testGarden()
		if !injector {
			g.Lines[1].Injector = garden.Injector{}
		}
		// In two pieces, and the last of the garden first.
		g.Lines[1].Outlets = []garden.Outlet{{Zone: "c", Emitters: 2, FlowLPH: 2}, {Zone: "b", Emitters: 1, FlowLPH: 2}, {Zone: "b", Emitters: 3, FlowLPH: 2}}
		for i, want := range []map[int]float64{{}, {2: 0.5}, {1: 2}, {}, {}} {
			assert.InDeltaMapValues(t, want, of(g, i), 1e-12, "zone %d, injector %v", i, injector)
		}
		g.Pots[2].Zones[0].Feed = garden.FeedPlan{}
		assert.Empty(t, of(g, 1))
	}
}

package valves

import (
	"math"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestMeterBesideADoubtfulLine: one meter counts for a line that waters beside one
// that is not confirmed closed. Whether that one is closed and does not say so or
// runs on, the other gets what was ordered, and no litre is lost or booked twice.
func TestMeterBesideADoubtfulLine(t *testing.T) {
	for _, c := range []struct {
		name  string
		runs  bool
		every time.Duration // a count
	}{
		{"closed and silent", false, 5 * time.Second},
		{"runs on", true, 5 * time.Second},
		{"counts far between two pulses of the meter", false, 100 * time.Millisecond},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, func(g *garden.Garden, _ *Options) { metered(g) })
			r.CloseAll(at(time.Hour))
			const perL = 450
			now, ran := 2*time.Hour, 0.0
			count := func(flow float64) {
				ran += flow * c.every.Hours()
				now += c.every
				r.Meter(at(now), garden.Known(math.Floor(ran*perL)/perL))
			}
			r.Meter(at(now), garden.Known(0))
			before := r.order("chard", 1, time.Hour)
			_, ok := r.Request(at(now), Env{}, before)
			require.True(t, ok)
			r.valves["chard"].failCloses = 1 << 30
			for r.lines[1].pos == open {
				require.Less(t, now, 3*time.Hour)
				count(8)
				r.Advance(at(now))
			}
			o := r.order("chilli", 1, time.Hour)
			_, ok = r.Request(at(now), Env{}, o)
			require.True(t, ok)
			began, mine := now, 0.0
			var got []garden.Delivery
			for len(got) == 0 {
				require.Less(t, now, 4*time.Hour)
				flow := 8.0
				if c.runs {
					flow += 8
				}
				count(flow)
				mine = 8 * (now - began).Hours()
				got = r.Advance(at(now))
			}
			require.Equal(t, o.ID, got[0].Order)
			assert.InDelta(t, 1, mine, 0.02, "given")
			assert.InDelta(t, 1, got[0].Litres, 0.02, "told")
			assert.InDelta(t, ran, got[0].Litres+r.lines[1].pulse.meteredL, 0.01)
		})
	}
}

// TestFeedBesideALineWithoutFlow: a feed, or a flush, gets no more than was ordered
// where another line is open and gives nothing, so that the meter's litres are shared
// with it.
func TestFeedBesideALineWithoutFlow(t *testing.T) {
	for _, feeds := range []bool{true, false} {
		r, inj := dosingRig(t, metered)
		now, ran := 2*time.Hour, 0.0
		r.Meter(at(now), garden.Known(0))
		_, ok := r.Request(at(now), Env{}, r.order("chard", 2, time.Hour))
		require.True(t, ok)
		o := r.order("chilli", 1, time.Hour)
		if o.Why.Code = garden.LeachSalts; feeds {
			o.Kind, o.Why.Code = garden.Feeding, garden.FeedDue
		}
		_, ok = r.Request(at(now), Env{}, o)
		require.True(t, ok)
		var got []garden.Delivery
		for len(got) == 0 {
			require.Less(t, now, 3*time.Hour)
			now += 5 * time.Second
			ran += 8 * (5 * time.Second).Hours()
			r.Meter(at(now), garden.Known(ran))
			got = r.Advance(at(now))
		}
		require.Equal(t, o.ID, got[0].Order)
		assert.False(t, inj.open)
		assert.InDelta(t, 1, ran, 0.02, "given")
		assert.InDelta(t, 1, got[0].Litres, 0.02, "told")
		assert.Equal(t, feeds, got[0].DosedL > 0.98)
		assert.Equal(t, garden.Complete, got[0].End)
	}
}

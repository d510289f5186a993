package feed

import (
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestDryFeed: an injector is stopped because the meter counts nothing. That may be
// a dead meter: what may have gone out counts against the cap and a feed is not
// tried again within the distance of two, though it was none.
func TestDryFeed(t *testing.T) {
	for name, d := range map[string]garden.Delivery{
		"injector stopped": {DoseDry: true},
		"pump stopped":     {}, // before the injector's own proof of flow
	} {
		t.Run(name, func(t *testing.T) { testDryFeed(t, d) })
	}
}

func testDryFeed(t *testing.T, ended garden.Delivery) {
	const open = 40 * time.Second
	b := newBench(t, testPlan())
	began := []time.Time(nil)
	run := func(d time.Duration) {
		for range int(d / time.Minute) {
			b.step(time.Minute)
			for _, r := range b.last.Records {
				if r.Kind == Begun {
					began = append(began, r.At)
				}
			}
			if len(b.view.Delivered) > 0 {
				ended.Order, ended.Kind, ended.Metered, ended.Open, ended.End = b.order, garden.Feeding, true, open, garden.Faulted
				b.view.Delivered[0] = ended
			}
		}
	}
	run(3 * 24 * time.Hour)
	require.Len(t, began, 1)
	pulses := len(b.given)
	require.Positive(t, pulses)
	assert.LessOrEqual(t, pulses, 2, "it does not knock for ever")
	may := b.p.FlowLPH * open.Hours() * float64(pulses)
	assert.InDelta(t, may, b.s.used(b.now.Wall), 1e-9)
	_, _, ever := b.s.Last()
	assert.False(t, ever, "and it was no feed")
	assert.Equal(t, TooSoon, b.last.Held.Hold)
	assert.Equal(t, MinGap.Hours()/24, b.last.Held.B)

	// A restart changes nothing of it.
	s, err := Rebuild(b.p, b.journal)
	require.NoError(t, err)
	assert.InDelta(t, may, s.used(b.now.Wall), 1e-9)
	b.s = s
	run(2 * 24 * time.Hour)
	require.Len(t, began, 2)
	assert.GreaterOrEqual(t, began[1].Sub(began[0]), MinGap)
}

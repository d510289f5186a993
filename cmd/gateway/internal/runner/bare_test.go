package runner

import (
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
)

// refusals counts what the guard said no to.
type refusals struct {
	nobody
	n int
}

func (r *refusals) Refused(garden.Moment, garden.Order, garden.Refusal) { r.n++ }

// TestABareWishWaitsForTheHours: while a gateway goes on by the clock alone too, a wish within
// the hour before watering is allowed waits for it, as the page says; one long before is
// answered at once; and who says stop means the one that waits. Our own case.
func TestABareWishWaitsForTheHours(t *testing.T) {
	hours := []garden.DayWindow{{From: 6 * time.Hour, To: 8 * time.Hour}}
	five := time.Date(2026, 6, 1, 5, 0, 0, 0, time.UTC)
	bare := func(at time.Time) (r *rig, no *refusals, tick func(after time.Duration)) {
		r, no = rigWith(t, hours), &refusals{}
		r.loop.p.Tell, r.loop.silent = no, false
		from := garden.Moment{Mono: time.Hour, Wall: at, Synced: true}
		require.NoError(t, r.loop.Begin(from))
		r.loop.bare.on = true
		r.loop.barely(from, nil)
		for i := range r.loop.p.Garden.Lines {
			// No doses: they are not what this is about.
			r.loop.bare.waits[r.loop.p.Garden.Lines[i].ID] = from.Mono + 100*time.Hour
		}
		r.loop.Ask(from, garden.Ask{Kind: garden.AskWater, Zone: "chilli", Litres: 2})
		return r, no, func(after time.Duration) { r.loop.Tick(from.Add(after)) }
	}
	r, no, tick := bare(five.Add(30 * time.Minute))
	for m := range 30 {
		tick(time.Duration(m) * time.Minute)
		require.Equal(t, gpio.Low, r.level("chilli"))
	}
	assert.Zero(t, no.n)
	tick(30 * time.Minute)
	assert.Equal(t, gpio.High, r.level("chilli"))

	r, no, tick = bare(five.Add(-30 * time.Minute))
	tick(0)
	assert.Equal(t, 1, no.n)
	assert.Empty(t, r.loop.bare.wishes)

	r, _, tick = bare(five.Add(30 * time.Minute))
	tick(0)
	require.Len(t, r.loop.bare.wishes, 1)
	r.loop.Stop(garden.Moment{Mono: time.Hour + time.Second, Wall: five.Add(30*time.Minute + time.Second), Synced: true}, "chilli")
	tick(30 * time.Minute)
	assert.Equal(t, gpio.Low, r.level("chilli"))
}

package control

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What the page shows of the hours left has a doubt that brackets it, and is
// what the pot then does.
func TestHoursLeftWithTheirDoubt(t *testing.T) {
	b := newBench(t, testGarden(1, 36))
	b.run(5 * 24 * time.Hour)
	require.NotEmpty(t, b.log)
	// Just after a refill has settled.
	b.run(12 * time.Hour)
	v := b.p.View(b.st, b.now, nil)[0]
	require.Positive(t, v.ToRefillL)
	assert.Less(t, v.HoursSoonest, v.HoursToRefill)
	assert.Greater(t, v.HoursLatest, v.HoursToRefill)
	assert.Greater(t, v.HoursToLimit, v.HoursToRefill)
	orders := len(b.log)
	for h := 0.0; h < 240; h++ {
		b.run(time.Hour)
		if len(b.log) > orders {
			// A morning's heat may have been watered ahead of.
			assert.Less(t, h, v.HoursLatest+2)
			assert.Greater(t, h, v.HoursSoonest-6)
			return
		}
	}
	t.Fatal("never watered again")
}

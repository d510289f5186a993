package runner

import (
	"testing"
	"time"

	"fabricpot/control/alarm"
	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
)

// TestBrokenEarlier: a journal that an earlier run found broken has its alarm, and holds
// water back without an alarm for that, for a day from then on and not from the restart.
func TestBrokenEarlier(t *testing.T) {
	w := newWatch(&garden.Garden{Lines: []garden.Line{{ID: "a"}}})
	now := garden.Moment{Mono: time.Hour}
	since := now.Mono - 10*time.Hour
	w.brokeAt(now, since, "test")
	if assert.Len(t, w.noticed, 1) {
		assert.Equal(t, since+24*time.Hour, w.noticed[0].until)
	}
	w.capped(garden.Moment{Mono: since + spentFor - time.Second}, "a", "test")
	assert.False(t, w.stands(alarm.CapReached, "a"))
	w.capped(garden.Moment{Mono: since + spentFor}, "a", "test")
	assert.True(t, w.stands(alarm.CapReached, "a"))
}

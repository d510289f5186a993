package page

import (
	"context"
	"errors"
	"regexp"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestConfirmTheClock(t *testing.T) {
	var shown []time.Time
	var fail error
	s := newSite(t, func(o *Options) {
		o.ConfirmClock = func(_ context.Context, at time.Time, _ string) error {
			shown = append(shown, at)
			return fail
		}
	})
	assert.NotContains(t, s.get("/health").Body.String(), "/health/clock", "a confirmed clock asks nobody")
	s.gate.status.Synced = false
	at := s.gate.status.At
	form := func() (ticket, seconds string) {
		body := s.get("/health").Body.String()
		assert.Contains(t, body, "Friday 3 July 2026 08:00")
		m := regexp.MustCompile(`name="shown" value="(\d+)"`).FindStringSubmatch(body)
		require.NotNil(t, m)
		return s.ticketFor("/health", "/health/clock"), m[1]
	}
	ticket, seconds := form()
	t.Run("another time than was shown", func(t *testing.T) {
		assert.Equal(t, 409, s.post("/health/clock", "ticket", ticket, "shown", "1").Code)
		assert.Equal(t, 400, s.post("/health/clock", "ticket", ticket, "shown", "soon").Code)
		assert.Empty(t, shown)
	})
	require.Equal(t, 303, s.post("/health/clock", "ticket", ticket, "shown", seconds).Code)
	require.Len(t, shown, 1)
	assert.True(t, shown[0].Equal(at))
	assert.Contains(t, s.get("/health").Body.String(), "The clock is confirmed")
	t.Run("replayed", func(t *testing.T) {
		assert.Equal(t, 409, s.post("/health/clock", "ticket", ticket, "shown", seconds).Code)
		assert.Len(t, shown, 1)
	})
	t.Run("refused by the gateway", func(t *testing.T) {
		fail = errors.New("look again")
		ticket, seconds := form()
		w := s.post("/health/clock", "ticket", ticket, "shown", seconds)
		assert.Equal(t, 503, w.Code)
		assert.Contains(t, w.Body.String(), "look again")
	})
	t.Run("wrong method", func(t *testing.T) { assert.Equal(t, 405, s.get("/health/clock").Code) })
}

func TestDisk(t *testing.T) {
	var free uint64 = 3 << 30
	var fail error
	s := newSite(t, func(o *Options) { o.Disk = func() (uint64, uint64, error) { return free, 29 << 30, fail } })
	assert.Contains(t, s.get("/health").Body.String(), "3.0"+apart+"GiB free of 29.0"+apart+"GiB")
	assert.Contains(t, s.get("/metrics").Body.String(), "fabricpot_disk_free_bytes 3.221225472e+09")
	free = 100 << 20
	assert.Contains(t, s.get("/health").Body.String(), "make room")
	fail = errors.New("no card")
	assert.Contains(t, s.get("/health").Body.String(), "not known: no card")
	assert.NotContains(t, s.get("/metrics").Body.String(), "disk_free_bytes")
}

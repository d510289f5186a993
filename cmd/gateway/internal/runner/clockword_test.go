package runner

import (
	"context"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// unset is a board's clock that no time source confirmed.
type unset struct{ m *garden.Moment }

func (u unset) Moment() garden.Moment { return *u.m }

func TestConfirmClock(t *testing.T) {
	wall := time.Date(2031, 6, 1, 7, 0, 0, 0, time.UTC)
	now := garden.Moment{Mono: time.Hour, Wall: wall}
	l := &Loop{}
	l.p.Journal, l.p.Tell = nothingKept{}, nobody{}
	in := NewInbox()
	d := NewDesk(l, in)
	clock := l.Believing(unset{&now})
	confirm := func(shown time.Time) error {
		done := make(chan error, 1)
		go func() { done <- d.ConfirmClock(context.Background(), shown, "page") }()
		in.Serve(<-in.Next(), clock.Moment())
		return <-done
	}
	require.False(t, clock.Moment().Synced)

	require.ErrorContains(t, confirm(wall.Add(-time.Hour)), "look again")
	require.False(t, clock.Moment().Synced)

	require.NoError(t, confirm(wall.Add(-time.Minute)))
	require.True(t, clock.Moment().Synced)

	now = now.Add(90 * 24 * time.Hour)
	assert.True(t, clock.Moment().Synced, "a season later it is the same clock")
	now.Wall = now.Wall.Add(3 * time.Hour)
	assert.False(t, clock.Moment().Synced, "a clock that was moved is another one")
	now.Wall = now.Wall.Add(-3 * time.Hour)
	assert.True(t, clock.Moment().Synced)

	now.Wall = time.Date(1970, 1, 1, 0, 5, 0, 0, time.UTC)
	require.ErrorContains(t, confirm(now.Wall), "never set")
	assert.False(t, clock.Moment().Synced)
}

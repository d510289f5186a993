package valves

import (
	"sync"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

type realTime struct{}

func (realTime) After(d time.Duration) <-chan time.Time { return time.After(d) }

// counted is a real time that knows how often it was waited for.
type counted struct{ waits int }

func (c *counted) After(d time.Duration) <-chan time.Time {
	c.waits++
	return time.After(d)
}

// stuck is a driver that hangs in the middle of a call while it is told to.
type stuck struct {
	mu          sync.Mutex
	open, known bool
	hang        chan struct{} // nil: it answers at once
	calls       int
	atOnce      int // calls with it at a time
	most        int
}

func (s *stuck) pass() {
	s.mu.Lock()
	s.calls++
	s.atOnce++
	s.most = max(s.most, s.atOnce)
	hang := s.hang
	s.mu.Unlock()
	if hang != nil {
		<-hang
	}
	s.mu.Lock()
	s.atOnce--
	s.mu.Unlock()
}

func (s *stuck) set(open bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.open, s.known = open, true
}

func (s *stuck) hangs(yes bool) (free func()) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.hang = nil
	if !yes {
		return func() {}
	}
	c := make(chan struct{})
	s.hang = c
	return func() { s.hangs(false); close(c) }
}

func (s *stuck) Open(g Grant) error {
	if !g.Valid() {
		return ErrNoGrant
	}
	s.pass()
	s.set(true)
	return nil
}

func (s *stuck) Close() error { s.pass(); s.set(false); return nil }

func (s *stuck) Closed() (closed, known bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.known && !s.open, s.known
}

func (s *stuck) isOpen() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.open
}

const little = 50 * time.Millisecond

func TestOwned(t *testing.T) {
	t.Run("a sound driver is as it was", func(t *testing.T) {
		s := &stuck{}
		o := Own(s, time.Minute, realTime{})
		_, known := o.Closed()
		assert.False(t, known)
		require.NoError(t, o.Close())
		closed, known := o.Closed()
		assert.True(t, closed && known)
		assert.ErrorIs(t, o.Open(Grant{}), ErrNoGrant)
		require.NoError(t, o.Open(granted()))
		closed, known = o.Closed()
		assert.True(t, !closed && known)
		assert.False(t, o.Hangs())
	})
	t.Run("one that hangs opening is closed when it comes back", func(t *testing.T) {
		s, real := &stuck{}, &counted{}
		o := Own(s, little, real)
		free := s.hangs(true)
		require.ErrorIs(t, o.Open(granted()), ErrHangs)
		assert.True(t, o.Hangs())
		_, known := o.Closed()
		assert.False(t, known)
		for range 100 {
			require.ErrorIs(t, o.Close(), ErrHangs)
			require.ErrorIs(t, o.Open(granted()), ErrHangs)
		}
		assert.Equal(t, 1, real.waits, "only the first call is waited for")
		free()
		require.Eventually(t, func() bool { closed, known := o.Closed(); return closed && known }, 20*time.Second, time.Millisecond)
		assert.False(t, s.isOpen() || o.Hangs())
		assert.Equal(t, 1, s.most, "one call at a time")
		assert.Equal(t, 2, s.calls, "what was asked for meanwhile is not all done later")
		require.NoError(t, o.Open(granted()))
		assert.True(t, s.isOpen(), "nothing owed is left over")
	})
	t.Run("one that hangs closing", func(t *testing.T) {
		s := &stuck{}
		o := Own(s, little, realTime{})
		require.NoError(t, o.Open(granted()))
		free := s.hangs(true)
		require.ErrorIs(t, o.Close(), ErrHangs)
		_, known := o.Closed()
		assert.False(t, known, "nobody knows")
		free()
		require.Eventually(t, func() bool { closed, known := o.Closed(); return closed && known }, 20*time.Second, time.Millisecond)
	})
	t.Run("one that panics", func(t *testing.T) {
		f := &fakeValve{panics: 1, open: true}
		o := Own(f, time.Minute, realTime{})
		require.ErrorContains(t, o.Close(), "panicked")
		require.NoError(t, o.Close())
	})
}

// TestAHungDriverHoldsUpNoOtherLine: while one line's driver never comes back,
// another line ends at its deadline, and so does one behind the same pump.
func TestAHungDriverHoldsUpNoOtherLine(t *testing.T) {
	g := terrace()
	hung, motor, sound := &stuck{}, &stuck{}, &stuck{}
	own := func(s *stuck) *Owned { return Own(s, little, realTime{}) }
	pump := NewPump(own(motor))
	gd, err := NewGuard(g, map[garden.LineID]Actuator{"chilli": pump.Behind(own(hung)), "chard": pump.Behind(own(sound))}, newLedger(nil), Options{})
	require.NoError(t, err)
	gd.CloseAll(at(time.Hour))
	now := at(2 * time.Hour)
	for i, line := range []garden.LineID{"chilli", "chard"} {
		no, ok := gd.Request(now, Env{}, garden.Order{ID: garden.OrderID(i + 1), Line: line, Zone: garden.ZoneID(line), Litres: 1, MaxOn: time.Minute})
		require.True(t, ok, "%v", no.Cause)
	}
	free := hung.hangs(true)
	done := make(chan []garden.Delivery)
	go func() { done <- gd.Advance(now.Add(time.Minute)) }()
	select {
	case out := <-done:
		require.Len(t, out, 1)
		assert.Equal(t, garden.LineID("chard"), out[0].Line)
	case <-time.After(20 * time.Second):
		require.Fail(t, "the guard waits for the driver that hangs")
	}
	assert.False(t, sound.isOpen() || motor.isOpen())
	bad := gd.Unconfirmed()
	assert.Contains(t, bad, garden.LineID("chilli"))
	assert.NotContains(t, bad, garden.LineID("chard"))
	free()
	require.Eventually(t, func() bool { return !hung.isOpen() }, 20*time.Second, time.Millisecond)
	// The driver has closed it a moment before its owner hears of that.
	later, ended := now.Add(2*time.Minute), []garden.Delivery(nil)
	require.Eventually(t, func() bool {
		ended, later = append(ended, gd.Advance(later)...), later.Add(time.Second)
		return len(ended) > 0
	}, 20*time.Second, time.Millisecond)
	assert.Len(t, ended, 1)
	assert.NotContains(t, gd.Unconfirmed(), garden.LineID("chilli"))
}

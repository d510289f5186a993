package valves

import (
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
)

// fakeValve is an actuator with a history and scripted failures.
type fakeValve struct {
	log        *[]string
	name       string
	open       bool
	known      bool
	failOpens  int // how many opens still fail, having energised the coil
	failCloses int // how many closes still fail, leaving it open
	deaf       int // how many closes are taken without being confirmed
	panics     int // how many closes still panic
	closes     int
	last       Grant
}

func (f *fakeValve) note(s string) {
	if f.log != nil {
		*f.log = append(*f.log, s+" "+f.name)
	}
}

func (f *fakeValve) Open(g Grant) error {
	if !g.Valid() {
		return ErrNoGrant
	}
	f.note("open")
	f.open, f.known, f.last = true, true, g
	if f.failOpens > 0 {
		f.failOpens--
		return errors.New("driver gone")
	}
	return nil
}

func (f *fakeValve) Close() error {
	f.closes++
	f.note("close")
	switch {
	case f.panics > 0:
		f.panics--
		panic("driver bug")
	case f.failCloses > 0:
		f.failCloses--
		f.known = false
		return errors.New("driver gone")
	case f.deaf > 0:
		f.deaf--
		f.open, f.known = false, false
		return nil
	}
	f.open, f.known = false, true
	return nil
}

func (f *fakeValve) Closed() (bool, bool) { return !f.open && f.known, f.known }

// fakePin is an output pin that remembers its level.
type fakePin struct {
	gpio.PinIO // only what is overridden below may be called
	level      gpio.Level
	err        error
}

func (p *fakePin) String() string { return "pin 17" }
func (p *fakePin) Out(l gpio.Level) error {
	if p.err != nil {
		return p.err
	}
	p.level = l
	return nil
}

// tellingPin also tells what it drives.
type tellingPin struct {
	fakePin
	stuck bool
}

func (p *tellingPin) OutputLevel() (gpio.Level, error) {
	if p.stuck {
		return gpio.High, nil
	}
	return p.level, nil
}

// memLedger is a ledger in memory with a history and scripted failures.
type memLedger struct {
	mu      sync.Mutex
	log     *[]string
	broken  bool
	during  func() // called in the middle of Intend
	raising func() // and of Raise
	intents map[garden.OrderID]garden.Intent
	settled map[garden.OrderID]garden.Delivery
}

func newLedger(log *[]string) *memLedger {
	return &memLedger{log: log, intents: map[garden.OrderID]garden.Intent{}, settled: map[garden.OrderID]garden.Delivery{}}
}

func (m *memLedger) Intend(o garden.Order, worst float64, at garden.Moment) error {
	if m.during != nil {
		m.during()
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.broken {
		return errors.New("disk full")
	}
	if _, ok := m.intents[o.ID]; ok {
		return fmt.Errorf("order %d twice", o.ID)
	}
	if m.log != nil {
		*m.log = append(*m.log, "intend "+string(o.Line))
	}
	m.intents[o.ID] = garden.Intent{Order: o, MaxLitres: worst, At: at}
	return nil
}

func (m *memLedger) Raise(id garden.OrderID, most float64) error {
	if m.raising != nil {
		m.raising()
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.broken {
		return errors.New("disk full")
	}
	if in, ok := m.intents[id]; ok {
		in.MaxLitres = max(in.MaxLitres, most)
		m.intents[id] = in
	}
	return nil
}

func (m *memLedger) Settle(d garden.Delivery) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.broken {
		return errors.New("disk full")
	}
	if m.log != nil {
		*m.log = append(*m.log, "settle "+string(d.Line))
	}
	m.settled[d.Order] = d
	return nil
}

// terrace is a garden of two pots of 40 L on a line each, 8 L/h, and a third
// line over both; the supply carries two of them.
func terrace() *garden.Garden {
	pot := func(id string) garden.Pot {
		return garden.Pot{
			ID: garden.PotID(id), Mix: "mix", VolumeL: 40,
			Shape: garden.Shape{HeightCM: 35, BottomDiameterCM: 38, TopDiameterCM: 38},
			Zones: []garden.Zone{{ID: garden.ZoneID(id), Pot: garden.PotID(id), Share: 1, Line: garden.LineID(id)}},
		}
	}
	g := &garden.Garden{
		Site:   garden.Site{Zone: time.UTC},
		Pots:   []garden.Pot{pot("chilli"), pot("chard")},
		Supply: garden.Supply{FlowLPH: 16},
		Limits: garden.DefaultLimits(),
	}
	for _, id := range []string{"chilli", "chard"} {
		g.Lines = append(g.Lines, garden.Line{ID: garden.LineID(id), DU: 1,
			Outlets: []garden.Outlet{{Zone: garden.ZoneID(id), Emitters: 2, FlowLPH: 4}}})
	}
	g.Lines = append(g.Lines, garden.Line{ID: "both", DU: 1, Outlets: []garden.Outlet{
		{Zone: "chilli", Emitters: 1, FlowLPH: 4}, {Zone: "chard", Emitters: 1, FlowLPH: 4}}})
	return g
}

type rig struct {
	*Guard
	g      *garden.Garden
	valves map[garden.LineID]*fakeValve
	ledger *memLedger
	log    *[]string
	id     garden.OrderID
}

// newRig is a guard over the terrace, closed and confirmed at one hour.
func newRig(t require.TestingT, change func(*garden.Garden, *Options)) *rig {
	g, o := terrace(), Options{PeakNeedL: map[garden.LineID]float64{"chilli": 4, "chard": 4, "both": 8}}
	if change != nil {
		change(g, &o)
	}
	log := &[]string{}
	r := &rig{g: g, log: log, ledger: newLedger(log), valves: map[garden.LineID]*fakeValve{}}
	act := map[garden.LineID]Actuator{}
	for _, l := range g.Lines {
		r.valves[l.ID] = &fakeValve{log: log, name: string(l.ID), open: true}
		act[l.ID] = r.valves[l.ID]
	}
	gd, err := NewGuard(g, act, r.ledger, o)
	require.NoError(t, err)
	r.Guard = gd
	require.Empty(t, gd.CloseAll(at(time.Hour)))
	*log = nil
	return r
}

func (r *rig) order(line garden.LineID, litres float64, maxOn time.Duration) garden.Order {
	r.id++
	return garden.Order{ID: r.id, Line: line, Zone: garden.ZoneID(line), Litres: litres, MaxOn: maxOn}
}

// at is a moment with both clocks together, wall synchronised; the origin is
// midnight of the first of June 2031.
func at(d time.Duration) garden.Moment {
	return garden.Moment{Mono: d, Wall: time.Date(2031, 6, 1, 0, 0, 0, 0, time.UTC).Add(d), Synced: true}
}

func TestPulse(t *testing.T) {
	t.Run("intent before coil, closed at the nominal time, outcome after", func(t *testing.T) {
		r := newRig(t, nil)
		now := at(2 * time.Hour)
		ref, ok := r.Request(now, Env{}, r.order("chilli", 2, time.Hour))
		require.True(t, ok, "%v", ref.Cause)
		assert.Equal(t, []string{"intend chilli", "open chilli"}, *r.log)

		// 2 L at 8 L/h are 15 minutes.
		due, any := r.NextDeadline()
		require.True(t, any)
		assert.Equal(t, 2*time.Hour+15*time.Minute, due)
		assert.Empty(t, r.Advance(at(due-time.Nanosecond)))
		assert.True(t, r.valves["chilli"].open)
		got := r.Advance(at(due))
		require.Len(t, got, 1)
		assert.False(t, r.valves["chilli"].open)
		assert.Equal(t, garden.Complete, got[0].End)
		assert.InDelta(t, 2, got[0].Litres, 1e-9)
		assert.Equal(t, 15*time.Minute, got[0].Open)

		assert.NotContains(t, *r.log, "settle chilli", "Advance must not touch the journal")
		require.NoError(t, r.Flush())
		assert.Equal(t, got[0], r.ledger.settled[1])
	})
	t.Run("the intent's worst case covers the whole deadline", func(t *testing.T) {
		r := newRig(t, nil)
		_, ok := r.Request(at(2*time.Hour), Env{}, r.order("chilli", 2, time.Hour))
		require.True(t, ok)
		// 15 min × 1.25 at 8 L/h.
		assert.InDelta(t, 2.5, r.ledger.intents[1].MaxLitres, 1e-6)
	})
	t.Run("the order's own deadline wins", func(t *testing.T) {
		r := newRig(t, nil)
		_, ok := r.Request(at(2*time.Hour), Env{}, r.order("chilli", 2, 5*time.Minute))
		require.True(t, ok)
		got := r.Advance(at(2*time.Hour + 5*time.Minute))
		require.Len(t, got, 1)
		assert.Equal(t, garden.AtDeadline, got[0].End)
		assert.InDelta(t, 8.0/12, got[0].Litres, 1e-9)
	})
	t.Run("a wall clock that jumps moves no deadline", func(t *testing.T) {
		for _, jump := range []time.Duration{-40 * 365 * 24 * time.Hour, -time.Hour, time.Hour, 100 * 24 * time.Hour} {
			r := newRig(t, nil)
			_, ok := r.Request(at(2*time.Hour), Env{}, r.order("chilli", 2, time.Hour))
			require.True(t, ok)
			m := at(2*time.Hour + 15*time.Minute - 1)
			m.Wall = m.Wall.Add(jump)
			assert.Empty(t, r.Advance(m))
			m.Mono++
			assert.Len(t, r.Advance(m), 1, "jump %v", jump)
		}
	})
	t.Run("a monotonic clock that runs backwards closes", func(t *testing.T) {
		r := newRig(t, nil)
		_, ok := r.Request(at(2*time.Hour), Env{}, r.order("chilli", 2, time.Hour))
		require.True(t, ok)
		got := r.Advance(at(time.Hour))
		require.Len(t, got, 1)
		assert.Equal(t, garden.Faulted, got[0].End)
	})
}

func TestCoil(t *testing.T) {
	for _, activeLow := range []bool{false, true} {
		t.Run(fmt.Sprintf("active low %v", activeLow), func(t *testing.T) {
			pin := &fakePin{level: gpio.Level(!activeLow)}
			c := NewCoil(pin, activeLow)
			_, known := c.Closed()
			assert.False(t, known, "nothing is known before the first command")
			require.NoError(t, c.Close())
			assert.Equal(t, gpio.Level(activeLow), pin.level)
			closed, known := c.Closed()
			assert.True(t, closed && known)

			require.ErrorIs(t, c.Open(Grant{}), ErrNoGrant)
			require.ErrorIs(t, c.Open(Grant{maxOn: time.Hour}), ErrNoGrant)
			assert.Equal(t, gpio.Level(activeLow), pin.level)
		})
	}
	t.Run("a pin that fails is not known closed", func(t *testing.T) {
		pin := &fakePin{}
		c := NewCoil(pin, false)
		require.NoError(t, c.Close())
		pin.err = errors.New("line busy")
		require.ErrorIs(t, c.Close(), pin.err)
		closed, known := c.Closed()
		assert.False(t, closed)
		assert.False(t, known)
	})
	t.Run("a pin that tells its level must agree", func(t *testing.T) {
		pin := &tellingPin{stuck: true}
		c := NewCoil(pin, false)
		require.ErrorContains(t, c.Close(), "still drives")
		_, known := c.Closed()
		assert.False(t, known)
		pin.stuck = false
		require.NoError(t, c.Close())
		closed, known := c.Closed()
		assert.True(t, closed && known)
	})
	t.Run("a grant that was kept opens nothing later", func(t *testing.T) {
		r := newRig(t, nil)
		_, ok := r.Request(at(2*time.Hour), Env{}, r.order("chilli", 2, time.Hour))
		require.True(t, ok)
		kept := r.valves["chilli"].last
		require.True(t, kept.Valid())
		assert.Equal(t, garden.OrderID(1), kept.Order())
		r.Advance(at(3 * time.Hour))
		assert.False(t, kept.Valid())
		pin := &fakePin{}
		require.ErrorIs(t, NewCoil(pin, false).Open(kept), ErrNoGrant)
		assert.Equal(t, gpio.Low, pin.level)
	})
	t.Run("unassigned refuses every call", func(t *testing.T) {
		var u Unassigned
		require.ErrorIs(t, u.Open(Grant{}), ErrUnassigned)
		require.ErrorIs(t, u.Close(), ErrUnassigned)
		_, known := u.Closed()
		assert.False(t, known)
	})
}

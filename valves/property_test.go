package valves

import (
	"errors"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// world is everything around a guard: clocks that step, valves that fail, a
// card that fills up. It keeps its own plain account of what really flowed and
// checks the guard's promises from that alone.
type world struct {
	t      *rapid.T
	g      *garden.Garden
	guard  *Guard
	mono   time.Duration
	wall   time.Time
	synced bool
	env    Env
	valves []*spy
	card   *memLedger
	late   bool // time passed without the guard being driven at its deadlines
	asked  map[garden.OrderID]garden.Order
	opened map[garden.OrderID]bool
	// pastUnsure counts openings with more than the supply carries energised, beside
	// valves that do not close for long.
	pastUnsure int
	stubborn   bool // valves may not close for days
}

// span is water that really ran.
type span struct {
	from, to  time.Duration
	unwritten bool
}

// spy is a valve that really is open or closed.
type spy struct {
	w        *world
	line     garden.Line
	cap      float64
	dose     float64
	open     bool
	known    bool
	order    garden.Order
	deadline time.Duration // by the world's own reckoning
	spans    []span
	failing  int
	closes   int
	budget   float64       // what ran on the no-journal budget since the card last worked
	budgeted bool          // this opening is
	prompt   bool          // and no close of it has failed
	refused  time.Duration // since when
}

func (w *world) now() garden.Moment {
	return garden.Moment{Mono: w.mono, Wall: w.wall, Synced: w.synced}
}

// refusing is for how long closes have failed in a row, by the world's own reckoning.
func (s *spy) refusing() time.Duration {
	if s.known {
		return 0
	}
	return s.w.mono - s.refused
}

// ran is what flowed in the day before now.
func (s *spy) ran() float64 {
	var d time.Duration
	for _, x := range s.spans {
		if to := x.to; to > s.w.mono-day {
			d += to - max(x.from, s.w.mono-day)
		}
	}
	if s.open {
		d += s.w.mono - s.spans[len(s.spans)-1].from
	}
	return s.line.FlowLPH() * d.Hours()
}

func (s *spy) Open(g Grant) error {
	w := s.w
	require.True(w.t, g.Valid())
	require.False(w.t, s.open, "opened while open")
	require.True(w.t, s.known, "opened while not known closed")
	require.False(w.t, w.opened[g.Order()], "order %d twice", g.Order())
	w.opened[g.Order()] = true
	o := w.asked[g.Order()]
	require.Equal(w.t, s.line.ID, o.Line)

	flow := s.line.FlowLPH()
	bound := min(o.MaxOn, w.g.Limits.MaxOn, time.Duration(o.Litres/flow*1.25*3600*float64(time.Second))+1)
	if s.line.MaxOn > 0 {
		bound = min(bound, s.line.MaxOn)
	}
	require.LessOrEqual(w.t, g.MaxOn(), bound)
	require.Positive(w.t, g.MaxOn())
	s.deadline = w.mono + g.MaxOn()

	require.LessOrEqual(w.t, s.ran()+flow*g.MaxOn().Hours(), s.cap+1e-6, "over the cap of %s", s.line.ID)
	sum := flow
	beside, unsure := 0, 0.0
	for _, other := range w.valves {
		switch {
		case other.open && other.refusing() >= unsureAfter:
			unsure += other.line.FlowLPH()
		case other.open:
			sum += other.line.FlowLPH()
			beside++
		}
	}
	require.LessOrEqual(w.t, sum, w.g.Supply.FlowLPH+1e-6, "over the supply")
	if sum+unsure > w.g.Supply.FlowLPH+1e-6 {
		w.pastUnsure++
		require.Zero(w.t, beside, "not alone beside a line that does not close")
		require.NotEqual(w.t, garden.Commission, o.Kind, "measured beside a line that does not close")
	}
	if w.synced {
		require.True(w.t, w.g.Supply.Hours[0].Contains(w.wall), "outside hours")
	}
	require.False(w.t, w.env.AirC.Known && w.env.AirC.Value < w.g.Limits.FrostC, "in frost")
	require.False(w.t, w.env.AutoOff && o.Kind != garden.Survival && o.Kind != garden.ByHand, "automatic control is off")
	in, written := w.card.intents[g.Order()]
	if written {
		require.GreaterOrEqual(w.t, in.MaxLitres+1e-6, flow*g.MaxOn().Hours(), "the intent must cover the worst case")
		s.budget = 0
	} else {
		require.NotEqual(w.t, garden.Feeding, o.Kind, "a feed without an intent")
		used := min(s.budget, 2*s.dose+s.lately())
		require.LessOrEqual(w.t, used+flow*g.MaxOn().Hours(), 3*s.dose+1e-6, "over the no-journal budget, and over one dose a day")
	}
	s.budgeted = !written
	s.order, s.open, s.prompt = o, true, true
	s.spans = append(s.spans, span{from: w.mono, unwritten: !written})
	if s.failing > 0 && s.failing%2 == 0 {
		s.known, s.refused = false, w.mono
		return errors.New("gone half way")
	}
	return nil
}

// lately is what ran in openings without an intent that closed within the day.
func (s *spy) lately() (litres float64) {
	for _, x := range s.spans {
		if x.unwritten && s.w.mono-x.to < 24*time.Hour {
			litres += s.line.FlowLPH() * (x.to - x.from).Hours()
		}
	}
	return litres
}

func (s *spy) Close() error {
	s.closes++
	if s.failing > 0 {
		s.failing--
		if s.known {
			s.refused = s.w.mono
		}
		s.known, s.prompt = false, false
		return errors.New("gone")
	}
	if s.open {
		last := &s.spans[len(s.spans)-1]
		last.to = s.w.mono
		ran := s.line.FlowLPH() * (last.to - last.from).Hours()
		if s.prompt && !s.w.late {
			require.LessOrEqual(s.w.t, ran, s.order.Litres+1e-6, "more than was ordered")
		}
		if s.budgeted {
			s.budget += ran
		}
	}
	s.open, s.known = false, true
	return nil
}

func (s *spy) Closed() (bool, bool) { return !s.open && s.known, s.known }

func newWorld(t *rapid.T, change ...func(*garden.Garden)) *world {
	g := terrace()
	for _, f := range change {
		f(g)
	}
	g.Supply.Hours = []garden.DayWindow{{From: 4 * time.Hour, To: 21 * time.Hour}}
	g.Lines[1].MaxOn = 20 * time.Minute
	// Small, so that the no-journal budget binds long before the cap does.
	g.Limits.SurvivalShare = 0.005
	w := &world{t: t, g: g, mono: time.Hour, wall: time.Date(2031, 6, 1, 8, 0, 0, 0, time.UTC), synced: true,
		card: newLedger(nil), asked: map[garden.OrderID]garden.Order{}, opened: map[garden.OrderID]bool{}}
	act := map[garden.LineID]Actuator{}
	o := Options{PeakNeedL: map[garden.LineID]float64{}}
	for i, l := range g.Lines {
		s := &spy{w: w, line: l, cap: 2.5 * float64(2+i), dose: 0.005 * 40}
		if l.ID == "both" {
			s.dose *= 2
		}
		o.PeakNeedL[l.ID] = float64(2 + i)
		w.valves = append(w.valves, s)
		act[l.ID] = s
	}
	var err error
	w.guard, err = NewGuard(g, act, w.card, o)
	require.NoError(t, err)
	w.guard.CloseAll(w.now())
	return w
}

// pass lets time go by and drives the guard: as an event clock would, or late.
func (w *world) pass(d time.Duration, late bool) {
	to := w.mono + d
	for i := 0; !late; i++ {
		next, any := w.guard.NextDeadline()
		if !any || next > to {
			break
		}
		require.Less(w.t, i, 200000, "the event clock does not get on")
		w.step(max(w.mono, next))
	}
	w.late = late
	w.step(to)
	w.late = false
}

func (w *world) step(to time.Duration) {
	w.wall = w.wall.Add(to - w.mono)
	w.mono = to
	before := make([]int, len(w.valves))
	for i, s := range w.valves {
		before[i] = s.closes
	}
	w.guard.Advance(w.now())
	for i, s := range w.valves {
		if s.open && w.mono >= s.deadline {
			// Only a valve that fails may be open here, and its close was
			// commanded just now or is about to be.
			next, any := w.guard.NextDeadline()
			require.True(w.t, s.closes > before[i] || (any && next <= w.mono+retryMost),
				"%s is open %v past its deadline and nobody closes it", s.line.ID, w.mono-s.deadline)
			require.Positive(w.t, s.closes, "never told to close")
			require.Contains(w.t, w.guard.Unconfirmed(), s.line.ID)
		}
	}
}

func TestGuardKeepsItsPromises(t *testing.T) {
	// Some promises are only at stake after a rare run of events: several
	// rounds of rapid's default number of checks, still well under a second.
	for range 5 {
		rapid.Check(t, func(t *rapid.T) { promises(t, newWorld(t)) })
	}
}

// TestGuardKeepsItsPromisesBesideStubbornValves is the same world on a smaller
// supply, with valves that may not close for days.
func TestGuardKeepsItsPromisesBesideStubbornValves(t *testing.T) {
	past := 0
	rapid.Check(t, func(t *rapid.T) {
		w := newWorld(t, func(g *garden.Garden) { g.Supply.FlowLPH = rapid.SampledFrom([]float64{8, 12, 16}).Draw(t, "supply") })
		w.stubborn = true
		promises(t, w)
		past += w.pastUnsure
	})
	require.Positive(t, past, "no opening was ever at stake")
}

func promises(t *rapid.T, w *world) {
	line := rapid.IntRange(0, len(w.valves)-1)
	w.card.broken = rapid.Bool().Draw(t, "card broken from the start")
	var id garden.OrderID
	acts := map[string]func(){
		"request": func() {
			id++
			use := id
			if rapid.IntRange(0, 9).Draw(t, "repeat") == 0 {
				use = garden.OrderID(rapid.Uint64Range(1, uint64(id)).Draw(t, "id"))
			}
			o := garden.Order{
				ID: use, Line: w.valves[line.Draw(t, "line")].line.ID,
				Litres: rapid.OneOf(rapid.Float64Range(0.1, 2), rapid.Float64Range(0.01, 20)).Draw(t, "litres"),
				MaxOn:  time.Duration(rapid.Int64Range(int64(time.Second), int64(3*time.Hour)).Draw(t, "max on")),
				Kind:   garden.OrderKind(rapid.Uint8Range(0, 5).Draw(t, "kind")),
			}
			if _, taken := w.opened[use]; !taken {
				w.asked[use] = o
			}
			ref, ok := w.guard.Request(w.now(), w.env, o)
			require.Equal(t, ok, ref.Cause == garden.NotRefused)
		},
		"time": func() {
			w.pass(time.Duration(rapid.Int64Range(1, int64(8*time.Hour)).Draw(t, "dt")), rapid.IntRange(0, 4).Draw(t, "late") == 0)
		},
		"little time": func() {
			w.pass(time.Duration(rapid.Int64Range(int64(time.Minute), int64(20*time.Minute)).Draw(t, "dt")), false)
		},
		"wall jumps": func() {
			w.wall = w.wall.Add(time.Duration(rapid.Int64Range(int64(-1e6*time.Second), int64(1e6*time.Second)).Draw(t, "jump")))
			w.synced = rapid.Bool().Draw(t, "synced")
		},
		"weather": func() {
			w.env = Env{AutoOff: rapid.IntRange(0, 3).Draw(t, "off") == 0}
			if rapid.IntRange(0, 3).Draw(t, "cold") == 0 {
				w.env.AirC = garden.Known(1)
			}
		},
		"stop":    func() { w.guard.Stop(w.now(), w.valves[line.Draw(t, "line")].line.ID) },
		"card":    func() { w.card.broken = rapid.IntRange(0, 3).Draw(t, "broken") > 0 },
		"flush":   func() { _ = w.guard.Flush() },
		"failing": func() { w.valves[line.Draw(t, "line")].failing = rapid.IntRange(0, 6).Draw(t, "times") },
		"kept shut": func() {
			w.guard.KeepShut(w.now(), w.valves[line.Draw(t, "line")].line.ID, w.mono+10*time.Minute)
		},
		"cut off": func() {
			_ = w.guard.CloseEverything()
			if rapid.IntRange(0, 3).Draw(t, "stays") > 0 {
				w.guard.CloseAll(w.now())
			}
		},
		"close all": func() {
			w.guard.CloseAll(w.now())
		},
	}
	// Requests and time most of all: water must flow for promises to matter.
	often := []string{"request", "request", "request", "request", "time", "time", "little time", "little time", "little time",
		"request", "request", "request", "request", "time", "time", "little time", "little time", "little time",
		"wall jumps", "weather", "stop", "card", "flush", "failing", "kept shut", "cut off", "close all", "close all", "close all"}
	if w.stubborn {
		often = append(often, "stubborn", "stubborn", "mended")
		acts["stubborn"] = func() { w.valves[line.Draw(t, "line")].failing = 1 << 30 }
		acts["mended"] = func() { w.valves[line.Draw(t, "line")].failing = 0 }
	}
	for range rapid.IntRange(300, 600).Draw(t, "steps") {
		acts[rapid.SampledFrom(often).Draw(t, "act")]()
	}
	// At the end everything closes, however stubborn, and is accounted for.
	w.t = t
	if w.stubborn {
		for _, s := range w.valves {
			s.failing = 0
		}
	}
	w.guard.Seal(w.now())
	w.pass(time.Minute, false)
	require.Empty(t, w.guard.Unconfirmed())
	w.card.broken = false
	require.NoError(t, w.guard.Flush())
	for _, s := range w.valves {
		require.False(t, s.open)
		var ran, told float64
		for _, x := range s.spans {
			ran += s.line.FlowLPH() * (x.to - x.from).Hours()
		}
		for _, d := range w.card.settled {
			if d.Line == s.line.ID {
				told += d.Litres
			}
		}
		require.GreaterOrEqual(t, told+1e-6, ran, "%s: more water than the journal knows of", s.line.ID)
	}
	for id := range w.card.intents {
		require.Contains(t, w.card.settled, id, "an intent without an outcome")
	}
}

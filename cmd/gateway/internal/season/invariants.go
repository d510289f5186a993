package season

import (
	"fmt"
	"time"

	"fabricpot/control/alarm"
	"fabricpot/control/garden"
	"fabricpot/sim/bench"
)

const (
	// late is how long past its deadline a line may be energised.
	late = 100 * time.Millisecond
	// startClose is how soon after a start every line must be closed.
	startClose = time.Second
	// goodFor is how long a good reading may be the reason for an order.
	goodFor = 30 * time.Minute
	// most bounds the list of violations of one run.
	most = 20
	// keptFree is how long the supply keeps the flow of a line free that can't be closed.
	keptFree = 30 * time.Minute
	// mostSpread is how far a metered line's litres may be over the journal's, as a
	// share.
	mostSpread = 1.1
	// frostSlackC is what the air may change between a round and its opening.
	frostSlackC = 0.3
)

// witness watches a campaign from outside: the pins, the true water, what was
// written and what was told. It keeps books of its own and never asks the
// gateway what it believes.
type witness struct {
	g     *garden.Garden
	clock *bench.Clock
	lines []seenLine
	good  map[garden.ProbeID]time.Duration
	// dead is set between a gateway's death and the next one's start.
	dead       bool
	diedAt     time.Duration
	violations []string
	raised     []alarm.Change
	cleared    []alarm.Change
	resting    []garden.Order // Irrigate orders of this tick
	orders     int
	feeds      int
	// untrue tells that a line's plumbing is at fault, so that litres through it
	// are not what anybody can know.
	untrue func(*seenLine) bool
	// miscounted tells that the meter counts too little of what runs.
	miscounted func() bool
	// unseen is in how many lives nothing could tell that the pump had no water.
	unseen func() int
	// bench is the present life's, for the true weather and clock.
	bench func() *Bench
	// opens are called once when their line opens next.
	opens map[garden.LineID][]func()
	// orphan is the time the pump ran dry or against closed valves while no gateway
	// lived, orphan0 its beginning, hours.
	orphan, orphan0 pumpRun
	// blocked counts the mishaps by which an open line may give nothing; blockedH is
	// the time the pump ran against closed valves meanwhile, blocked0H when the
	// present such time began, h.
	blocked             int
	blockedH, blocked0H float64
	flushes             map[garden.ZoneID]*seenFlush
	// unreachable tells that the gateway can't reach remote lines, later is what
	// is judged when it can again.
	unreachable func() bool
	later       []func()
}

// seenLine is one line as its pin shows it.
type seenLine struct {
	l        *garden.Line
	capL     float64
	on       bool
	since    time.Duration
	deadline time.Duration
	granted  bool // an intent came since the last opening
	kept     bool // and was written
	pinBad   bool // its pin can't be driven: nobody can close it
	badFrom  time.Duration
	deaf     bool     // its node hears nothing: nobody but itself can close it
	later    []func() // what is judged when it hears again
	spans    []openSpan
	opened   []time.Duration
	asked    []time.Duration // intents
	saidL    float64         // by the journal
	trueFlow float64         // what its emitters give when whole, as a share of their rating
	excused  bool            // the deadline of this opening passed while no gateway lived
	late     time.Duration   // how long past its deadline it may be open
	kind     garden.OrderKind
	feed     *seenFeed // nil where it has no injector
	nextCapL float64   // from when on
	nextFrom time.Duration
	lost     lostDay
}

type openSpan struct{ from, to time.Duration }

func newWitness(g *garden.Garden, capL map[garden.LineID]float64) *witness {
	w := &witness{g: g, good: map[garden.ProbeID]time.Duration{}, opens: map[garden.LineID][]func(){}, flushes: map[garden.ZoneID]*seenFlush{}}
	for i := range g.Lines {
		s := seenLine{l: &g.Lines[i], capL: capL[g.Lines[i].ID], late: late}
		if g.Lines[i].Valve.Kind == garden.RemoteValve {
			s.late = farLate
		}
		w.lines = append(w.lines, s)
	}
	return w
}

func (w *witness) fault(format string, args ...any) {
	if len(w.violations) < most {
		at := time.Duration(0)
		if w.clock != nil {
			at = w.clock.Now()
		}
		w.violations = append(w.violations, fmt.Sprintf("%v: ", at.Round(time.Millisecond))+fmt.Sprintf(format, args...))
	}
}

func (w *witness) line(id garden.LineID) *seenLine {
	for i := range w.lines {
		if w.lines[i].l.ID == id {
			return &w.lines[i]
		}
	}
	return nil
}

// watch has every pin report.
func (w *witness) watch(b *Bench) {
	w.clock = b.Clock
	for i := range w.lines {
		s := &w.lines[i]
		s.trueFlow = b.Terrace.LineFlowLPH(s.l.ID) / s.l.FlowLPH()
		b.Wires.Pin(s.l.ID).Watch(func(e bench.PinEvent) { w.moved(s, e) })
	}
}

func (w *witness) intended(o garden.Order, at garden.Moment, kept bool) {
	s := w.line(o.Line)
	if s == nil {
		w.fault("an order for line %q, which is not there", o.Line)
		return
	}
	if kept || !s.granted {
		s.granted, s.kept = true, kept
	}
	s.deadline, s.kind = w.clock.Now()+o.MaxOn, o.Kind
	s.asked = append(s.asked, w.clock.Now())
}

func (w *witness) settled(d garden.Delivery) {
	if s := w.line(d.Line); s != nil {
		s.saidL += d.Litres
	}
}

// moved is told each change of a pin.
func (w *witness) moved(s *seenLine, e bench.PinEvent) {
	flow := s.l.FlowLPH()
	if e.Energised && !s.on {
		s.on, s.since, s.excused = true, e.At, false
		if !s.granted {
			w.fault("line %s was opened without an intent", s.l.ID)
		}
		s.granted = false
		w.supply(s, e.At)
		w.weather(s)
		if s.nextFrom > 0 && e.At >= s.nextFrom {
			s.capL, s.nextFrom = s.nextCapL, 0
		}
		if rolling := s.lastDay(e.At) + flow*max(0, s.deadline-e.At).Hours(); rolling > s.capL*(1+1e-6)+s.lost.extraL(e.At)+0.01 {
			w.fault("line %s may come to %.2f L a day over its cap of %.2f L", s.l.ID, rolling, s.capL)
		}
		s.lost.holds(w, s, e.At)
		s.opened = append(s.opened, e.At)
		for _, f := range w.opens[s.l.ID] {
			f()
		}
		delete(w.opens, s.l.ID)
	}
	if !e.Energised && s.on {
		s.on = false
		s.spans = append(s.spans, openSpan{s.since, e.At})
		s.check(w, e.At)
		if s.feed != nil && s.feed.on && !w.dead {
			w.fault("the water of line %s stopped while its injector runs", s.l.ID)
		}
	}
}

// supply judges an opening by what else is open. A line that nobody can close has
// its flow kept free for half an hour; from then on one other may run beside it at a
// time, or plants die on a supply for one line.
func (w *witness) supply(opened *seenLine, now time.Duration) {
	sum, stuck, others := opened.l.FlowLPH(), 0.0, 0
	for i := range w.lines {
		s := &w.lines[i]
		switch {
		case s == opened || !s.on:
		case (s.pinBad || s.deaf) && now-max(s.since, s.badFrom) >= keptFree:
			stuck += s.l.FlowLPH()
		default:
			sum += s.l.FlowLPH()
			others++
		}
	}
	most := w.g.Supply.FlowLPH * (1 + 1e-9)
	switch {
	case sum > most:
		w.fault("%.1f L/h opened on a supply of %.1f L/h", sum, w.g.Supply.FlowLPH)
	case sum+stuck > most && others > 0:
		w.fault("%.1f L/h opened on a supply of %.1f L/h, beside %.1f L/h that nobody can close and not alone", sum, w.g.Supply.FlowLPH, stuck)
	}
}

// weather judges an opening by the true air and the true time.
func (w *witness) weather(s *seenLine) {
	b := w.bench()
	if t := b.Terrace.AirC(); t < w.g.Limits.FrostC-frostSlackC {
		w.fault("line %s was opened at %.1f °C", s.l.ID, t)
	}
	if len(w.g.Supply.Hours) == 0 || b.skew != 0 || b.unsynced {
		return
	}
	now := b.Moment().Wall
	order := now // when it may have been given
	if s.l.Valve.Kind == garden.RemoteValve {
		order = now.Add(-farLate)
	}
	for _, h := range w.g.Supply.Hours {
		if h.Contains(now) || h.Contains(order) {
			return
		}
	}
	w.fault("line %s was opened at %s, outside the hours", s.l.ID, now.Format("15:04 MST"))
}

// check judges how long a line was, or still is, open.
func (s *seenLine) check(w *witness, now time.Duration) {
	if now > s.deadline+s.late && !s.excused && !s.pinBad {
		s.excused = true // once
		w.fault("line %s was open %v past its deadline", s.l.ID, now-s.deadline)
	}
}

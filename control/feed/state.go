package feed

import (
	"fmt"
	"time"

	"fabricpot/control/garden"
)

// Phase is where a zone's feed stands.
type Phase uint8

const (
	// Waiting: no feed is under way.
	Waiting Phase = iota
	// Moistening: a feed waits for dry mix to take water.
	Moistening
	// Giving: pulses of feed go to the root base.
	Giving
	// Settling: the feed sinks in before the soak.
	Settling
	// CarryDown: plain water carries it down.
	CarryDown
	// BeforeClosing: rest before the closing dose.
	BeforeClosing
	// ClosingDose: the last part of the same feed.
	ClosingDose
	// WithGardener: a task is open.
	WithGardener
	// Flushing: plain water washes salts out.
	Flushing
)

var phases = [...]string{"waiting", "moistening", "feeding", "settling", "carrying down", "before the closing dose", "closing dose", "with the gardener", "flushing"}

func (p Phase) String() string {
	if int(p) < len(phases) {
		return phases[p]
	}
	return "unknown"
}

// State is one zone's feed in progress. Make it with Rebuild, also for a garden
// that has no records yet.
type State struct {
	phase Phase
	// feed is the current or last feed's number.
	feed    garden.FeedID
	begun   time.Time
	planned float64
	closing float64
	room    float64
	ppm     NPK
	stage   Stage
	why     DueWhy
	// charged counts what this feed has intended or given.
	charged, given float64
	pulse          int
	moistened      int
	soaked         bool
	// ready is when the next step may come, on the monotonic clock.
	ready   time.Duration
	pending pending
	// last is the start of the last feed of any kind.
	last      time.Time
	lastStage Stage
	everFed   bool
	// before is what last was before the feed under way, for one that came to
	// nothing; retry is when such a feed may be tried again.
	before   previous
	retry    time.Time
	refusals int
	charges  []charge
	// dose is the watering with feed in it under way, doses what such waterings
	// gave.
	dose      dose
	doses     []charge
	flush     flush
	clock     clock
	restarted bool
}

type previous struct {
	last  time.Time
	stage Stage
	ever  bool
}

// retryNothing is the wait after a feed of which nothing went out.
const retryNothing = 12 * time.Hour

// hardlyAny is the share of a feed under which it was none: an injector that shows
// no flow is stopped after that little.
const hardlyAny = 0.1

// pending is an order whose end is not known yet.
type pending struct {
	active bool
	water  bool
	pulse  int
	litres float64
	order  garden.OrderID
	// lost is when its end is given up waiting for.
	lost time.Duration
}

type charge struct {
	at     time.Time
	feed   garden.FeedID
	pulse  int
	litres float64
	nPPM   float64
}

// Phase is where the zone's feed stands.
func (s *State) Phase() Phase { return s.phase }

// Busy reports whether the zone's water is in the sequence's hands: the
// controller starts no watering of its own meanwhile. After a restart with no
// confirmed clock it is not: an interrupted feed must not keep a pot dry.
func (s *State) Busy() bool {
	return s.clock.running && s.phase != Waiting && s.phase != WithGardener
}

// Begun is when what is under way began: for a feed by hand, when it was put on the
// list.
func (s *State) Begun() time.Time { return s.begun }

// Planned is the litres of the current or last feed.
func (s *State) Planned() float64 { return s.planned }

// Feed is the number of the current or last feed.
func (s *State) Feed() garden.FeedID { return s.feed }

// Last is the start of the last feed and the stage it was given in; ok is false
// where there was none.
func (s *State) Last() (at time.Time, stage Stage, ok bool) { return s.last, s.lastStage, s.everFed }

// Bind tells the number under which the last wish was ordered.
func (s *State) Bind(id garden.OrderID) {
	if s.pending.active && s.pending.order == 0 {
		s.pending.order = id
	}
}

// Apply enters one record. Rebuild uses it for the past and callers for what
// people did (HandGiven, HandDropped).
func (s *State) Apply(r Record) {
	if r.Feed > s.feed {
		s.feed = r.Feed
	}
	if r.At.After(s.clock.trusted) {
		s.clock.trusted = r.At
	}
	switch r.Kind {
	case Begun:
		s.phase, s.begun = Giving, r.At
		s.planned, s.closing, s.room, s.ppm, s.stage, s.why = r.Litres, r.ClosingL, r.RoomL, r.PPM, r.Stage, r.Why
		s.charged, s.given, s.pulse, s.soaked, s.moistened, s.refusals = 0, 0, 0, false, 0, 0
		s.before = previous{s.last, s.lastStage, s.everFed}
		s.note(r.At, r.Stage)
	case PulseIntended:
		s.pulse = r.Pulse
		s.charged += r.Litres
		s.charges = append(s.charges, charge{r.At, r.Feed, r.Pulse, r.Litres, r.PPM.N})
		s.pending = pending{active: true, pulse: r.Pulse, litres: r.Litres}
	case PulseSettled:
		s.settle(r)
	case WaterIntended:
		s.soaked = true
		s.phase = CarryDown
		s.pending = pending{active: true, water: true, litres: r.Litres}
	case Ended:
		s.phase, s.pending = Waiting, pending{}
		if s.charged <= 0 {
			// Not a drop went out and that is certain: it was no feed.
			s.last, s.lastStage, s.everFed = s.before.last, s.before.stage, s.before.ever
			s.retry = r.At.Add(retryNothing)
		} else if s.charged < hardlyAny*s.planned {
			// The plants still wait for it. What may have gone out counts against the
			// cap, and it keeps the distance of a feed.
			s.last, s.lastStage, s.everFed = s.before.last, s.before.stage, s.before.ever
			s.retry = s.begun.Add(MinGap)
		}
	case HandDropped:
		// Said on purpose: the next one is due an interval later.
		s.phase, s.pending = Waiting, pending{}
		s.note(r.At, s.stage)
	case DoseIntended, DoseSettled:
		s.applyDose(r)
	case HandWithdrawn:
		s.phase, s.pending = Waiting, pending{}
	case FlushBegun, FlushIntended, FlushSettled, FlushEnded, FlushedAlong:
		s.applyFlush(r)
	case HandOpened:
		s.phase, s.begun = WithGardener, r.At
		s.planned, s.ppm, s.stage, s.why = r.Litres, r.PPM, r.Stage, r.Why
	case HandGiven:
		switch s.phase {
		case Waiting, Flushing:
		case WithGardener:
			s.phase = Waiting
		default:
			s.charged += r.Litres
		}
		s.charges = append(s.charges, charge{r.At, r.Feed, 0, r.Litres, r.PPM.N})
		s.note(r.At, r.Stage)
	}
}

func (s *State) note(at time.Time, stage Stage) {
	if !s.everFed || at.After(s.last) {
		s.last, s.lastStage = at, stage
	}
	s.everFed = true
}

// settle replaces a pulse's intended litres by what it gave. A second record of
// the same pulse changes nothing.
func (s *State) settle(r Record) {
	if !s.pending.active || s.pending.water || s.pending.pulse != r.Pulse || r.Feed != s.feed {
		return
	}
	for i := range s.charges {
		if c := &s.charges[i]; c.feed == r.Feed && c.pulse == r.Pulse && c.pulse > 0 {
			s.charged += r.Litres - c.litres
			c.litres = r.Litres
		}
	}
	s.given += r.Litres
	s.pending = pending{}
}

// Rebuild makes a zone's state from its records, oldest first. With none it is
// a fresh state. Records of other zones are an error, as is a number that is
// not finite: the journal was mixed up, and guessing would feed twice.
func Rebuild(p *Plan, records []Record) (*State, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	s := &State{restarted: true}
	for i, r := range records {
		if r.Zone != p.Zone {
			return nil, fmt.Errorf("feed: zone %q: record %d belongs to zone %q: the journal's query is wrong", p.Zone, i, r.Zone)
		}
		if !garden.Finite(r.Litres) || r.Litres < 0 || !garden.Finite(r.ClosingL) || !garden.Finite(r.RoomL) || !r.PPM.Valid() {
			return nil, fmt.Errorf("feed: zone %q: record %d (%s) holds %v L at %+v mg/L, expected finite amounts of 0 or more", p.Zone, i, r.Kind, r.Litres, r.PPM)
		}
		s.Apply(r)
	}
	return s, nil
}

// used is what the zone got in the window before now, L. Charges from the
// future, after a clock went back, count.
func (s *State) used(now time.Time) float64 {
	var sum float64
	for _, c := range s.charges {
		if now.Sub(c.at) < capWindow {
			sum += c.litres
		}
	}
	return sum
}

// forget drops charges that no window can reach any more.
func (s *State) forget(now time.Time) {
	for _, list := range [...]*[]charge{&s.charges, &s.doses} {
		n := 0
		for n < len(*list) && now.Sub((*list)[n].at) > 2*capWindow {
			n++
		}
		if n > 0 {
			*list = append((*list)[:0], (*list)[n:]...)
		}
	}
}

// clock is civil time as the sequence trusts it: it never goes back, and within
// a run it goes no faster than the monotonic clock, so that a leap of the wall
// clock can't make a feed due or a cap forget.
type clock struct {
	trusted time.Time
	mono    time.Duration
	wall    time.Time
	running bool
}

// tick returns trusted time, and false while none is known.
func (c *clock) tick(now garden.Moment) (time.Time, bool) {
	if !now.Synced {
		// Time goes on by the monotonic clock once it was known.
		if c.running {
			c.trusted = c.trusted.Add(max(0, now.Mono-c.mono))
			c.mono = max(c.mono, now.Mono)
			c.wall = c.trusted
		}
		return c.trusted, false
	}
	if !c.running {
		c.running = true
		if now.Wall.After(c.trusted) {
			c.trusted = now.Wall
		}
	} else if step := min(now.Mono-c.mono, now.Wall.Sub(c.wall)); step > 0 {
		c.trusted = c.trusted.Add(step)
	}
	c.mono, c.wall = max(c.mono, now.Mono), now.Wall
	return c.trusted, true
}

package feed

import (
	"math"
	"time"

	"fabricpot/control/garden"
)

// Output is what one step of the sequence wants.
type Output struct {
	// Records must be on the journal before Order goes anywhere. They are
	// already applied to the state.
	Records []Record
	// Order is a wish for the zone's line, without a number: give it one and
	// tell State.Bind. Only where HasOrder.
	Order    garden.Order
	HasOrder bool
	// Held says why nothing happens, where a feed is due.
	Held Held
	// OpenTask is set in the step in which the gardener's task is opened; its
	// figures are in Records.
	OpenTask bool
}

// Step takes one tick of a zone's feeding: it notes what became of the last
// order, and orders at most one more. Its result depends on its arguments
// alone. In a tick in which nothing happens it allocates nothing.
func Step(p *Plan, s *State, now garden.Moment, v *View) Output {
	at, confirmed := s.clock.tick(now)
	st := stepper{p: p, s: s, v: v, now: now, at: at}
	st.outcome()
	st.doseOutcome()
	switch {
	case s.phase == WithGardener:
		st.out.Held = Held{Hold: TaskOpen}
	case s.phase == Waiting, s.phase == Moistening && !s.pending.active:
		if !confirmed {
			s.phase = Waiting
			st.out.Held = Held{Hold: NoClock}
			break
		}
		s.forget(at)
		switch {
		case st.beginFlush():
		case p.EveryWatering:
			st.out.Held = Held{Hold: NothingDue}
		default:
			st.begin()
		}
	case s.clock.running:
		st.carryOn()
	}
	return st.out
}

type stepper struct {
	p   *Plan
	s   *State
	v   *View
	now garden.Moment
	at  time.Time
	out Output
}

func (st *stepper) record(r Record) {
	r.Zone, r.At = st.p.Zone, st.at
	if r.Feed == 0 {
		r.Feed = st.s.feed
	}
	r.PPM, r.Stage, r.Why = st.s.ppm, st.s.stage, st.s.why
	st.out.Records = append(st.out.Records, r)
	st.s.Apply(r)
}

// outcome matches the last order with what is known of its end.
func (st *stepper) outcome() {
	s := st.s
	if s.restarted {
		st.afterRestart()
	}
	if !s.pending.active || s.restarted {
		return
	}
	for i := range st.v.Delivered {
		if d := &st.v.Delivered[i]; d.Order == s.pending.order && d.Order != 0 {
			litres := max(0, d.Litres)
			dry := d.DoseDry || d.Metered && litres == 0 && d.Kind == garden.Feeding
			if dry {
				// A meter that stands still looks the same: what may have gone out
				// counts.
				litres = max(litres, st.p.FlowLPH*d.Open.Hours())
			}
			st.settle(litres*st.share(), dry || d.End == garden.Unfinished)
			if dry {
				// No water: not again at once, and not for ever.
				s.refusals += maxRefusals/2 + 1
				s.ready = max(s.ready, st.now.Mono+time.Hour)
			}
			return
		}
	}
	for i := range st.v.Refused {
		if r := &st.v.Refused[i]; r.Order == s.pending.order && r.Order != 0 {
			s.refusals++
			if s.phase == Moistening {
				s.moistened--
			}
			st.settle(0, false)
			s.ready = max(s.ready, r.Until)
			return
		}
	}
	if st.now.Mono >= s.pending.lost {
		st.settle(s.pending.litres, true)
	}
}

// afterRestart counts an order in flight as carried out in full and starts all
// waits anew: how long the gateway was away is not known well enough.
func (st *stepper) afterRestart() {
	s := st.s
	if s.phase == Waiting || s.phase == WithGardener {
		s.restarted = false
		return
	}
	// Needs the time for its records; until then nothing moves.
	if !s.clock.running {
		return
	}
	s.restarted = false
	if s.pending.active {
		st.settle(s.pending.litres, true)
	}
	if s.phase == Flushing {
		st.end()
		return
	}
	s.phase = st.nextPhase()
	s.ready = st.now.Mono + st.p.Timing.BeforeSoak
}

func (st *stepper) settle(litres float64, uncertain bool) {
	s := st.s
	if !garden.Finite(litres) {
		litres, uncertain = s.pending.litres, true
	}
	wait := st.p.Timing.BetweenPulses
	switch {
	case s.phase == Flushing:
		st.record(Record{Kind: FlushSettled, Pulse: s.pending.pulse, Litres: litres, Uncertain: uncertain})
	case !s.pending.water:
		st.record(Record{Kind: PulseSettled, Pulse: s.pending.pulse, Litres: litres, Uncertain: uncertain})
		if s.phase == Giving && st.mainLeft() <= 0 {
			wait = st.p.Timing.BeforeSoak
		}
	case s.phase == Moistening:
		wait = st.p.Timing.AfterMoisten
	default:
		wait = st.p.Timing.BeforeSoak
	}
	s.pending = pending{}
	s.ready = st.now.Mono + wait
	if s.phase != Moistening && s.phase != Flushing {
		s.phase = st.nextPhase()
	}
}

// mainLeft and allLeft are what is still to give before the soak and in all, L.
// A leftover of under 2 % is not worth opening a valve.
func (st *stepper) mainLeft() float64 { return st.leftOf(st.s.planned - st.s.closing) }
func (st *stepper) allLeft() float64  { return st.leftOf(st.s.planned) }

func (st *stepper) leftOf(total float64) float64 {
	left := total - st.s.charged
	if left < 0.02*st.s.planned {
		return 0
	}
	return left
}

func (st *stepper) nextPhase() Phase {
	switch {
	case !st.s.soaked && st.mainLeft() > 0:
		return Giving
	case !st.s.soaked:
		return Settling
	case st.s.closing > 0 && st.allLeft() > 0:
		return BeforeClosing
	}
	return CarryDown
}

// begin starts a feed that is due and that nothing forbids.
func (st *stepper) begin() {
	p, s, v, o := st.p, st.s, st.v, &st.out
	switch {
	case !v.Due.Now:
		s.phase = Waiting
		o.Held = Held{Hold: NothingDue}
		return
	case s.everFed && st.at.Sub(s.last) < MinGap:
		s.phase = Waiting
		o.Held = Held{TooSoon, max(0, st.at.Sub(s.last).Hours()/24), MinGap.Hours() / 24}
		return
	case st.at.Before(s.retry):
		s.phase = Waiting
		o.Held = Held{TooSoon, 0, retryNothing.Hours() / 24}
		if s.charged > 0 {
			o.Held.B = MinGap.Hours() / 24
		}
		return
	}
	if s.phase == Moistening && st.now.Mono < s.ready {
		return
	}
	// A pot that is being moistened for its feed is not asked again to wait for
	// the next watering: this is it.
	view := *v
	if s.phase == Moistening {
		view.HoursToRefill = garden.Measured{}
	}
	if o.Held = veto(p, s, &view, s.used(st.at)); o.Held.Hold != NoHold {
		s.phase = Waiting
		return
	}
	if p.Line == "" {
		st.take()
		st.record(Record{Kind: HandOpened, Feed: s.feed + 1, Litres: v.Portion.Litres})
		o.OpenTask = true
		return
	}
	if v.Water.Value < p.dryBelow() {
		st.moisten()
		return
	}
	st.take()
	closing := 0.0
	if v.Due.Missed > 0 {
		closing = closingShare * v.Portion.Litres
	}
	st.record(Record{Kind: Begun, Feed: s.feed + 1, Litres: v.Portion.Litres, ClosingL: closing, RoomL: p.soakRoom(v)})
	st.pulse(st.mainLeft())
}

// take keeps what the feed about to begin is made of.
func (st *stepper) take() {
	st.s.ppm, st.s.stage, st.s.why = st.v.PPM, st.v.Stage, st.v.Due.Why
}

// moisten gives dry mix plain water first. These pulses need no record of their
// own: whether they are wanted is read off the mix each time.
func (st *stepper) moisten() {
	p, s := st.p, st.s
	if s.phase != Moistening {
		s.moistened = 0
	}
	if s.moistened >= maxMoisten {
		st.out.Held = Held{TakesNoWater, st.v.Water.Value, p.dryBelow()}
		s.phase, s.moistened = Waiting, 0
		s.retry = st.at.Add(p.Timing.RetryDry)
		return
	}
	s.phase = Moistening
	s.moistened++
	litres := min(p.PulseL, max(0.25*p.PulseL, (p.Refill-st.v.Water.Value)*p.VolumeL))
	st.order(litres, garden.Irrigate, garden.Reason{Code: garden.MoistenForFeed, A: st.v.Water.Value, B: p.Refill, C: litres})
	s.pending.water = true
}

// pulse orders one pulse out of left litres of feed, if the cap still allows.
func (st *stepper) pulse(left float64) {
	p, s := st.p, st.s
	n := math.Max(1, math.Ceil(left/p.PulseL-1e-9))
	litres := left / n
	if s.used(st.at)+litres > p.CapL*(1+1e-12) {
		st.end()
		return
	}
	st.record(Record{Kind: PulseIntended, Pulse: s.pulse + 1, Litres: litres})
	keep := s.pending
	st.order(litres, garden.Feeding, garden.Reason{Code: garden.FeedDue, A: s.planned, B: st.v.Due.DaysSince})
	s.pending.pulse, s.pending.water = keep.pulse, false
}

func (st *stepper) order(litres float64, kind garden.OrderKind, why garden.Reason) {
	st.orderThrough(Through{st.p.Line, st.p.LineShare, st.p.FlowLPH}, litres, kind, why)
}

func (st *stepper) orderThrough(by Through, litres float64, kind garden.OrderKind, why garden.Reason) {
	p := st.p
	line := litres / by.Share
	maxOn := time.Duration(1.5*line/by.FlowLPH*float64(time.Hour)) + time.Minute
	st.out.Order = garden.Order{Line: by.Line, Zone: p.Zone, Litres: line, MaxOn: maxOn, Kind: kind, Why: why}
	st.out.HasOrder = true
	st.s.pending = pending{active: true, litres: litres, lost: st.now.Mono + maxOn + 15*time.Minute}
}

// maxRefusals and maxPulses bound how often one feed knocks at a shut line.
const (
	maxRefusals = 12
	maxPulses   = 60
)

// carryOn takes a begun feed one step further.
func (st *stepper) carryOn() {
	s := st.s
	if s.pending.active || s.restarted {
		return
	}
	switch {
	case st.at.Sub(s.begun) > st.within(), s.refusals > maxRefusals, s.pulse >= maxPulses, st.v.Draining && s.phase != Flushing:
		st.end()
		return
	case st.now.Mono < s.ready:
		return
	case st.v.Watering:
		st.out.Held = Held{Hold: WateringNow}
		return
	case st.v.Blocked && s.phase != Flushing, st.v.FlushBlocked && s.phase == Flushing:
		st.out.Held = Held{Hold: LineShut}
		return
	}
	switch s.phase {
	case Flushing:
		st.flushOn()
	case Giving:
		left := st.mainLeft()
		if left <= 0 {
			s.phase = st.nextPhase()
			return
		}
		st.pulse(left)
	case Settling:
		st.soak()
	case BeforeClosing, ClosingDose:
		left := st.allLeft()
		if left <= 0 {
			st.end()
			return
		}
		s.phase = ClosingDose
		st.pulse(left)
	default:
		st.end()
	}
}

// soak carries the feed down with plain water, as much as the pot takes without
// draining and no more than the feed itself. Its size comes from the room the
// pot had before the feed: right after one it reads wetter than it is.
func (st *stepper) soak() {
	s, p := st.s, st.p
	litres := min(s.charged, soakUse*(s.room-s.planned))
	if litres < 0.05*s.planned {
		s.soaked = true
		s.phase = st.nextPhase()
		if s.phase != BeforeClosing {
			st.end()
		}
		return
	}
	litres = min(litres, 2*p.PulseL)
	st.record(Record{Kind: WaterIntended, Litres: litres})
	st.order(litres, garden.Irrigate, garden.Reason{Code: garden.CarryFeedDown, A: litres})
	s.pending.water = true
}

func (st *stepper) end() {
	if st.s.phase == Flushing {
		st.record(Record{Kind: FlushEnded, Litres: st.s.flush.charged})
		return
	}
	st.record(Record{Kind: Ended, Litres: st.s.given})
}

package feed

import (
	"math"
	"time"

	"fabricpot/control/garden"
)

// flush is what a zone's flushes have come to. A flush is a watering with leaching
// asked: plain water in pulses through the zone's line until what the caller
// wants to drain has drained. Like a feed it is on the record before it flows,
// counts as given from then on, and is not carried on after a restart: what is
// still too salty then is flushed another day.
type flush struct {
	// last is when the last one began, by line; done when the last ended that gave
	// enough, whole what the one under way would have to give for that.
	last    time.Time
	done    time.Time
	whole   float64
	planned float64
	charged float64
	given   []charge
}

// All are our judgement.
const (
	// flushGap is the shortest time between the beginnings of two flushes.
	flushGap = 20 * time.Hour
	// flushCap is the most a zone is flushed with in any CapWindow, litres per
	// litre of mix: two times what most pots hold.
	flushCap = 1.0
	// flushWithin is how long one may take.
	flushWithin = 12 * time.Hour
	// FlushEnough is the share of what a flush should give that washes salts out;
	// less of it is none, and is made up for by those of the next days, as far as
	// they lie within flushAdds.
	FlushEnough = 0.6
	flushAdds   = 3 * 24 * time.Hour
)

// Flushed is when the last flush through the line ended that gave enough; zero for
// none.
func (s *State) Flushed() time.Time { return s.flush.done }

// gave is what flushes gave within flushAdds of at, L, and after the last that was
// enough: that one's water is used up.
func (f *flush) gave(at time.Time) (sum float64) {
	for _, c := range f.given {
		if at.Sub(c.at) <= flushAdds && c.at.After(f.done) {
			sum += c.litres
		}
	}
	return sum
}

// enough notes a flush that was one.
func (f *flush) enough(at time.Time) {
	if f.gave(at) >= FlushEnough*f.whole {
		f.done = at
	}
}

func (s *State) applyFlush(r Record) {
	f := &s.flush
	switch r.Kind {
	case FlushBegun:
		s.phase, s.begun, s.pulse, s.refusals = Flushing, r.At, 0, 0
		f.last, f.planned, f.charged = r.At, r.Litres, 0
		f.whole = max(r.Litres, r.RoomL)
	case FlushIntended:
		s.pulse = r.Pulse
		f.charged += r.Litres
		f.given = append(f.given, charge{at: r.At, feed: r.Feed, pulse: r.Pulse, litres: r.Litres})
		s.pending = pending{active: true, water: true, pulse: r.Pulse, litres: r.Litres}
	case FlushSettled:
		if !s.pending.active || s.pending.pulse != r.Pulse || s.phase != Flushing || len(f.given) == 0 {
			return
		}
		c := &f.given[len(f.given)-1]
		f.charged += r.Litres - c.litres
		c.litres = r.Litres
		s.pending = pending{}
	case FlushEnded:
		s.phase, s.pending = Waiting, pending{}
		f.enough(r.At)
	case FlushedAlong:
		f.last, f.whole = r.At, r.RoomL
		f.given = append(f.given, charge{at: r.At, feed: r.Feed, litres: r.Litres})
		f.enough(r.At)
	}
}

// flushed is what flushes gave in the window before now, L.
func (s *State) flushed(now time.Time) (sum float64) {
	n := 0
	for _, c := range s.flush.given {
		if now.Sub(c.at) > 2*capWindow {
			n++
		}
		if now.Sub(c.at) < capWindow {
			sum += c.litres
		}
	}
	s.flush.given = append(s.flush.given[:0], s.flush.given[n:]...)
	return sum
}

// beginFlush begins a flush that is wanted and that nothing forbids.
func (st *stepper) beginFlush() bool {
	p, s, v := st.p, st.s, st.v
	if !v.FlushL.Known || p.Flush.Line == "" || s.phase != Waiting || !(v.FlushL.Value > 0) || !garden.Finite(v.FlushL.Value) {
		return false
	}
	if v.Watering || v.FlushBlocked || !v.Water.Known || v.RainMM.Or(0) >= HeavyRainMM ||
		!s.flush.last.IsZero() && st.at.Sub(s.flush.last) < flushGap {
		return false
	}
	litres := min(v.FlushL.Value, flushCap*p.VolumeL-s.flushed(st.at))
	if litres < 0.02*p.VolumeL {
		return false
	}
	st.record(Record{Kind: FlushBegun, Litres: litres, RoomL: max(litres, v.FlushWholeL)})
	st.flushOn()
	return true
}

// flushOn orders the next pulse of a flush, or ends it.
func (st *stepper) flushOn() {
	p, s := st.p, st.s
	left := s.flush.planned - s.flush.charged
	if left < 0.02*s.flush.planned {
		st.end()
		return
	}
	litres := left / math.Max(1, math.Ceil(left/p.PulseL-1e-9))
	if s.flushed(st.at)+litres > flushCap*p.VolumeL*(1+1e-12) {
		st.end()
		return
	}
	st.record(Record{Kind: FlushIntended, Pulse: s.pulse + 1, Litres: litres})
	st.orderThrough(p.Flush, litres, garden.Irrigate, garden.Reason{Code: garden.LeachSalts, A: s.flush.planned, B: st.v.FlushMS})
	st.s.pending.water, st.s.pending.pulse = true, s.pulse
}

// within is how long after its beginning what is under way is carried on.
func (st *stepper) within() time.Duration {
	if st.s.phase == Flushing {
		return flushWithin
	}
	return st.p.Timing.ResumeWithin
}

// share is the part of the present order's water that reaches the zone.
func (st *stepper) share() float64 {
	if st.s.phase == Flushing {
		return st.p.Flush.Share
	}
	return st.p.LineShare
}

package season

import (
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control"
	"fabricpot/control/alarm"
	"fabricpot/control/garden"
)

// ticked ends a tick: overdue lines, and orders whose reading was bad.
func (w *witness) ticked(now garden.Moment) {
	at := w.clock.Now()
	w.overdue()
	for _, o := range w.resting {
		if !w.trusted(o.Zone, at) {
			w.fault("order %d of kind %s for %s rests on no good reading", o.ID, o.Kind, o.Zone)
		}
	}
	w.resting = w.resting[:0]
}

// overdue judges the lines that are open. A node keeps its deadline whoever
// lives at the other end.
func (w *witness) overdue() {
	for i := range w.lines {
		if s := &w.lines[i]; s.on && (!w.dead || s.l.Valve.Kind == garden.RemoteValve) {
			s.check(w, w.clock.Now())
		}
	}
}

// trusted reports whether a probe of the zone gave a good reading lately.
func (w *witness) trusted(z garden.ZoneID, at time.Duration) bool {
	_, zone, ok := w.g.Zone(z)
	if !ok {
		return false
	}
	for i := range zone.Probes {
		if t, seen := w.good[zone.Probes[i].ID]; seen && at-t <= goodFor+time.Minute {
			return true
		}
	}
	return false
}

// sampled is told what the drivers really said.
func (w *witness) sampled(readings []garden.Reading) {
	at := w.clock.Now()
	for i := range readings {
		if readings[i].Quality == garden.Good {
			w.good[readings[i].Probe] = at
		}
	}
}

// senseWitness stands between the drivers and the loop.
type senseWitness struct {
	runner.Sampler
	w *witness
}

func (s senseWitness) Sample(now garden.Moment, out []garden.Reading) []garden.Reading {
	out = s.Sampler.Sample(now, out)
	s.w.sampled(out)
	return out
}

// The witness hears what people are told.

func (w *witness) Opened(_ garden.Moment, o garden.Order) {
	w.orders++
	if o.Kind != garden.Irrigate {
		return
	}
	switch o.Why.Code {
	case garden.CarryFeedDown: // by the litre, whatever probes say
	case garden.LeachSalts:
		w.flushed(o)
	default:
		w.resting = append(w.resting, o)
	}
}

func (w *witness) Ended(garden.Delivery)                               {}
func (w *witness) Refused(garden.Moment, garden.Order, garden.Refusal) {}
func (w *witness) Noticed(control.Event)                               {}
func (w *witness) Failed(garden.Moment, string, error)                 {}

// stood reports whether an alarm that rose at from had not cleared by at.
func (w *witness) stood(c alarm.Cause, from, at time.Duration) bool {
	for _, x := range w.cleared {
		if x.Kind == c.Kind && x.Subject == c.Subject && x.At.Mono >= from && x.At.Mono <= at {
			return false
		}
	}
	return true
}

// Alarmed keeps what rose and cleared, by the event clock.
func (w *witness) Alarmed(c alarm.Change) {
	c.At.Mono = w.clock.Now()
	switch c.Event {
	case alarm.Raised:
		w.raised = append(w.raised, c)
	case alarm.Cleared:
		w.cleared = append(w.cleared, c)
	}
}

var _ runner.Teller = (*witness)(nil)

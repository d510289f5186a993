package season

import (
	"slices"
	"time"

	"fabricpot/control/alarm"
	"fabricpot/sim/bench"
)

const (
	// pumpTankL is a tank that lasts as long as any script.
	pumpTankL = 30_000
	// pumpDryPerRun is how long a pump may run dry each time a line opens, and
	// pumpDryPerDay in a day: its rests grow.
	pumpDryPerRun, pumpDryPerDay = 45 * time.Second, 16 * time.Minute
	// pumpDryUnseen is for how much longer a life of the gateway may where two faults
	// meet: the meter has failed, so that the float and the probes had to tell of water,
	// and then there is none although the float says so.
	pumpDryUnseen = 40 * time.Minute
	pumpPin       = 4
	latchClosePin = 12 // of the first line
	// latchOn is how long a coil of a latching valve may be on at a time.
	latchOn = 250 * time.Millisecond
)

// plumbing are mishaps of latching valves, of a pump with its tank and float, and of
// an injector.
var plumbing = []mishapType{
	{kind: "latch misses its pulses", begin: func(s *scene, _ Mishap) {
		// In mid-watering the pulse it misses next is its close.
		if l := s.c.w.line(s.line); l.on {
			s.c.staysOpen = append(s.c.staysOpen, l)
		}
		s.weaken(1)
	}, end: func(s *scene) { s.weaken(0) }, prepare: latching,
		alarms: []alarm.Kind{alarm.OrderWithoutFlow, alarm.SupplyGone}, within: 2 * time.Hour, flowing: true, needsMeter: true, withoutWater: true,
		Safe: "goes on trying within the day's limit; the list of work asks for cans", Recovery: "the next pulse that flows"},
	{kind: "latch misses its close", begin: func(s *scene, _ Mishap) { s.opening(func() { s.weaken(1) }) }, end: func(s *scene) { s.weaken(0) }, prepare: latching,
		lasts: 24 * time.Hour, alarms: []alarm.Kind{alarm.FlowWithoutOrder}, within: 2 * time.Hour, flowing: true, needsMeter: true,
		Safe: "the close is repeated; nothing more is ordered while the pot is wet", Recovery: "the next close that moves it"},
	{kind: "pump runs dry", begin: func(s *scene, _ Mishap) {
		if _, _, f := s.b.Contacts(); f != nil {
			f.Fail(bench.ContactWelded, 0)
		}
		s.b.Terrace.SetTank(0)
	}, end: func(s *scene) {
		if _, _, f := s.b.Contacts(); f != nil {
			f.Fail(bench.ContactHealthy, 0)
		}
		s.b.Terrace.SetTank(pumpTankL)
	}, prepare: func(s *Script, _ *Mishap) { s.pumped() },
		alarms: []alarm.Kind{alarm.PumpDry}, within: 2 * time.Hour, flowing: true, needsMeter: true, withoutWater: true, everyPot: true,
		Safe: "the pump stops without flow and rests longer each time", Recovery: "the next run with flow"},
	{kind: "float stuck", begin: func(s *scene, _ Mishap) {
		if _, _, f := s.b.Contacts(); f != nil {
			f.Fail(bench.ContactDead, 0)
		}
	}, end: func(s *scene) {
		if _, _, f := s.b.Contacts(); f != nil {
			f.Fail(bench.ContactHealthy, 0)
		}
	}, prepare: func(s *Script, _ *Mishap) { s.pumped() },
		alarms: []alarm.Kind{alarm.TankLow}, within: 10 * time.Minute,
		Safe: "nothing runs for six hours, then an opening tries; lines are watered while the meter counts", Recovery: "by itself when the float floats"},
	{kind: "injector without flow", begin: func(s *scene, _ Mishap) { s.b.Terrace.CutSupply(true) }, end: func(s *scene) { s.b.Terrace.CutSupply(false) },
		prepare: func(s *Script, m *Mishap) {
			// A feed is due as a script begins.
			m.Pot, m.At, s.Pump = 0, 30*time.Second, false
			s.Pots[0].Fed, s.Pots[0].Remote, s.Hours, s.Meter = true, false, false, true
		},
		alarms: []alarm.Kind{alarm.OrderWithoutFlow, alarm.SupplyGone}, within: 30 * time.Minute, flowing: true, needsMeter: true, withoutWater: true, everyPot: true,
		Safe: "the injector is stopped within half a minute and the feed ends; another is tried days later", Recovery: "the next feed that flows"},
}

// latching gives the mishap's pot a latching valve.
func latching(s *Script, m *Mishap) {
	s.Pots[m.Pot].Remote, s.Pots[m.Pot].Latch, s.Pump = false, true, false
}

// unpumped has the lines under pressure all the time: behind a pump that stands
// nothing runs out of a valve that leaks.
func unpumped(s *Script, _ *Mishap) { s.Pump = false }

// pumped has a pump drive every line, from a tank with a float, with a meter.
func (s *Script) pumped() {
	s.Pump, s.Meter, s.TankL = true, true, pumpTankL
	for i := range s.Pots {
		s.Pots[i].Remote = false
	}
}

func (s *scene) weaken(share float64) {
	if l := s.b.Wires.LatchOf(s.line); l != nil {
		l.Weaken(share)
	}
}

// blocks tells that an open line may give nothing by it, so that a pump runs
// against it.
func (k MishapKind) blocks() bool {
	switch k {
	case "valve does not open", "emitters blocked", "pin fails", "latch misses its pulses", "latch misses its close":
		return true
	}
	return false
}

// pumpRun is how long a pump ran with nothing to pump and against closed valves, h.
type pumpRun struct{ dry, shut float64 }

// pumpAlone brackets a time without a gateway, in which nobody can stop a pump.
func (w *witness) pumpAlone(b *Bench, begins bool) {
	_, dry, shut := b.Terrace.PumpHours()
	if !begins {
		w.orphan.dry += dry - w.orphan0.dry
		w.orphan.shut += shut - w.orphan0.shut
	}
	w.orphan0 = pumpRun{dry, shut}
}

// pumpBlocked brackets a time in which an open line may give nothing. Such times
// may lie within each other.
func (w *witness) pumpBlocked(b *Bench, begins bool) {
	b.Wires.Advance()
	if begins {
		if w.blocked++; w.blocked == 1 {
			w.blocked0H = w.pumpShutH(b)
		}
		return
	}
	if w.blocked--; w.blocked == 0 {
		w.blockedH += w.pumpShutH(b) - w.blocked0H
	}
}

// pumpShutH is how long a pump ran against closed valves under a gateway, h.
func (w *witness) pumpShutH(b *Bench) float64 {
	_, _, shut := b.Terrace.PumpHours()
	if w.dead {
		shut = w.orphan0.shut
	}
	return shut - w.orphan.shut
}

// unseen is in how many lives of the gateway a pump had no water while its meter had
// failed, at most.
func (c *course) unseen() int {
	during := func(kinds ...MishapKind) (spans []openSpan) {
		for _, m := range c.s.Mishaps {
			if slices.Contains(kinds, m.Kind) {
				to := c.b.Clock.Now()
				if m.For > 0 {
					to = m.At + m.For
				}
				spans = append(spans, openSpan{m.At, to})
			}
		}
		return spans
	}
	for _, a := range during("meter dead", "meter does not answer") {
		for _, b := range during("pump runs dry", "supply gone") {
			if a.from < b.to && b.from < a.to {
				return 1 + c.deaths
			}
		}
	}
	return 0
}

// pump judges what a pump went through, by the terrace.
func (w *witness) pump(b *Bench) {
	if !w.g.Supply.Pump.Fitted {
		return
	}
	_, dryH, _ := b.Terrace.PumpHours()
	hours := func(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }
	opened := 0
	for i := range w.lines {
		opened += len(w.lines[i].opened)
	}
	dry, most := hours(dryH-w.orphan.dry), min(time.Duration(opened)*pumpDryPerRun, time.Duration((b.Clock.Now().Hours()/24+1)*float64(pumpDryPerDay)))
	most += time.Duration(w.unseen()) * pumpDryUnseen
	if dry > most {
		w.fault("the pump ran dry for %v, %v at most is allowed", dry, most)
	}
	shutH := w.pumpShutH(b) - w.blockedH
	if w.blocked > 0 {
		shutH = w.blocked0H - w.blockedH
	}
	if shut := hours(shutH); shut > time.Second {
		w.fault("the pump ran against closed valves for %v", shut)
	}
}

// latches judges the coils of latching valves by their pins.
func (w *witness) latches(b *Bench) {
	for i := range w.lines {
		id := w.lines[i].l.ID
		l := b.Wires.LatchOf(id)
		if l == nil {
			continue
		}
		if l.Shorted() {
			w.fault("both coils of the valve of line %s were on at once", id)
		}
		for _, p := range []*bench.Pin{l.OpenPin(), l.ClosePin()} {
			on := time.Duration(-1)
			for _, e := range p.History() {
				if e.Energised {
					on = e.At
				} else if on >= 0 && e.At-on > latchOn {
					w.fault("a coil of the valve of line %s was on for %v", id, e.At-on)
				}
			}
			if p.Energised() {
				w.fault("a coil of the valve of line %s was left on", id)
			}
		}
	}
}

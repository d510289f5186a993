package config

import (
	"time"

	"fabricpot/control/garden"
	pulses "fabricpot/sensors/pulse"
)

// flowShown is how many pulses must fit into the time within which a pump must
// show flow, and flowUsually that time where the file does not say.
const (
	flowShown   = 3
	flowUsually = 30 * time.Second
)

// linkGauges fills in where contacts and the pump are.
func (r *reader) linkGauges(g *garden.Garden) {
	contact := func(path string, c *garden.Contact, needsPin bool) {
		c.Fitted = r.src.given(path + ".pin")
		switch {
		case c.Fitted:
			c.Chip = r.chipOf(path, c.Chip, g.Hardware)
		case needsPin && r.src.given(path) && g.Hardware.Kind == garden.Board && !r.unsound[path]:
			r.say(path, `no "pin"`, "", "pin: the number of the GPIO line its contact is wired to")
		case needsPin && r.src.given(path):
			c.Fitted = true // the bench has its own wires
		}
	}
	contact("supply.meter", &g.Supply.Meter, false)
	contact("supply.float", &g.Supply.Float, true)
	contact("rain-gauge", &g.Rain.Contact, true)
	p := &g.Supply.Pump
	if p.Fitted = r.src.given("supply.pump"); !p.Fitted {
		*p = garden.Pump{}
		return
	}
	p.Chip = r.chipOf("supply.pump", p.Chip, g.Hardware)
	if !r.src.given("supply.pump.flow-within") && g.Supply.MeterPulsesPerL.Known {
		p.FlowWithin = max(flowUsually, flowShown*longestInterval(g))
	}
}

func (r *reader) chipOf(path, chip string, hw garden.Hardware) string {
	if chip == "" {
		chip = hw.GPIOChip
	}
	if chip == "" && hw.Kind == garden.Board {
		r.say(path, "no GPIO chip", "", "chip here, or gpio-chip under hardware")
	}
	return chip
}

// longestInterval is the longest time between two of the meter's pulses while a
// line runs, whole seconds.
func longestInterval(g *garden.Garden) time.Duration {
	var longest time.Duration
	for i := range g.Lines {
		if lph := g.Lines[i].FlowLPH(); lph > 0 {
			longest = max(longest, pulses.Interval(g.Supply.MeterPulsesPerL.Value, lph))
		}
	}
	return min(longest, time.Hour).Truncate(time.Second) + time.Second
}

// checkGauges finds a meter that nothing reads, a tank that nothing watches and a
// pump that nothing keeps from running dry.
func (r *reader) checkGauges(g *garden.Garden) {
	s := &g.Supply
	board := g.Hardware.Kind == garden.Board
	if board && s.MeterPulsesPerL.Known && !s.Meter.Fitted && r.sound("supply.meter") {
		r.warn("supply.meter", "nothing reads it on this board", "", "pin beside its constant: the number of the GPIO line it is wired to")
	}
	if board && s.TankL.Known && !s.Float.Fitted && r.sound("supply.tank") && !r.unsound["supply.float"] {
		r.warn("supply.tank", "nothing tells on this board how full it is", "", "float beside it: a switch in the tank, with its pin")
	}
	if s.Pump.Fitted {
		r.checkPump(g, board)
	}
}

func (r *reader) checkPump(g *garden.Garden, board bool) {
	const within = "supply.pump.flow-within"
	s := &g.Supply
	metered := s.MeterPulsesPerL.Known && (s.Meter.Fitted || !board)
	switch {
	case r.unsound["supply.meter"] || r.unsound["supply.pump"]:
	case r.sound(within) && !metered:
		r.say(within, "no meter to show flow", words(s.Pump.FlowWithin), "a flow meter under supply, with its pin, or no such key")
	case !metered && !s.Float.Fitted:
		r.warn("supply.pump", "nothing keeps it from running dry", "", "a float in the tank, a flow meter, or both")
	case s.Pump.FlowWithin > 0 && !metered:
		s.Pump.FlowWithin = 0 // nothing could ever show it
	case r.sound(within):
		if least := flowShown * longestInterval(g); s.Pump.FlowWithin < least {
			r.say(within, "the meter can't show the flow of the smallest line so soon", words(s.Pump.FlowWithin), "at least "+words(least)+", or a meter with more pulses per litre")
		}
	}
}

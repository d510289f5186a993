package config

import (
	"fmt"
	"strconv"

	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control/garden"
)

// checkInputs finds two probes on one input.
func (r *reader) checkInputs(g *garden.Garden) {
	taken := map[garden.Input]garden.ProbeID{}
	for _, p := range g.ProbeList() {
		path := r.src.aliases["probes."+string(p.ID)] + ".input"
		if !r.sound(path) {
			continue
		}
		in := p.Input
		if in.Bus == g.Hardware.I2CBus {
			in.Bus = ""
		}
		if other, twice := taken[in]; twice {
			r.say(path, "two probes on one input", fmt.Sprintf("0x%x/%d", in.Addr, in.Channel), fmt.Sprintf("an input that probe %q does not use", other))
			continue
		}
		taken[in] = p.ID
	}
}

func (r *reader) checkLines(g *garden.Garden) {
	type coil struct {
		chip, node, set string
		pin             int
	}
	taken := map[coil]garden.LineID{}
	for _, l := range g.Lines {
		path := "lines." + string(l.ID)
		if r.sound(path+".valve") && l.Valve.Kind != "" {
			c := coil{chip: l.Valve.Chip, node: l.Valve.Node, pin: l.Valve.Pin}
			if l.Valve.Plain != nil {
				c.set = l.Valve.Plain.Set
			}
			if other, twice := taken[c]; twice {
				found := fmt.Sprintf("pin %d", c.pin)
				if c.node != "" {
					found = "node " + strconv.Quote(c.node)
				}
				if c.set != "" {
					found = "topic " + strconv.Quote(c.set)
				}
				r.say(path+".valve", "two lines on one valve", found, fmt.Sprintf("a valve that line %q does not use", other))
			} else {
				taken[c] = l.ID
			}
			r.checkLatch(l, path, func(pin int) (garden.LineID, bool) {
				c.pin = pin
				other, twice := taken[c]
				taken[c] = l.ID
				return other, twice
			})
		}
		if flow := l.FlowLPH(); r.sound(path+".waters", "supply.flow") && flow > g.Supply.FlowLPH*(1+1e-9) {
			r.say(path+".waters", "its emitters need more than the supply carries", units.Flow().Format(flow, "L/h", 1), "at most "+units.Flow().Format(g.Supply.FlowLPH, "L/h", 1))
		}
		if r.sound(path+".waters") && len(l.Outlets) == 0 {
			r.say(path+".waters", "waters nothing", "", "at least one zone")
		}
		if at := path + ".max-on"; r.sound(at) && l.MaxOn > g.Limits.MaxOn && !r.unsound["limits.max-on"] {
			r.say(at, "longer than the garden's limit", words(l.MaxOn), "at most "+words(g.Limits.MaxOn))
		}
	}
}

// checkLatch finds a closing pin that another valve uses; take takes it.
func (r *reader) checkLatch(l garden.Line, path string, take func(pin int) (garden.LineID, bool)) {
	if l.Valve.Latch == nil || l.Valve.Latch.ClosePin == l.Valve.Pin || !r.sound(path+".valve.close-pin") {
		return
	}
	if other, twice := take(l.Valve.Latch.ClosePin); twice {
		r.say(path+".valve.close-pin", "a pin that is taken", strconv.Itoa(l.Valve.Latch.ClosePin), fmt.Sprintf("a pin that line %q does not use", other))
	}
}

func (r *reader) checkSupply(g *garden.Garden) {
	if len(g.Lines) > 0 && !r.src.given("supply") {
		r.say("supply", `no "supply"`, "", "it where there are lines, with the flow it carries")
	}
	s := g.Supply
	if r.sound("supply.tank-reserve") && (!s.TankL.Known && !r.unsound["supply.tank"]) {
		r.say("supply.tank-reserve", "a reserve without a tank", "", "tank beside it")
	}
	if r.sound("supply.tank", "supply.tank-reserve") && s.TankReserveL >= s.TankL.Value {
		r.say("supply.tank-reserve", "the reserve is not under the tank's volume", units.Volume().Format(s.TankReserveL, "L", 1), "less than "+units.Volume().Format(s.TankL.Value, "L", 1))
	}
}

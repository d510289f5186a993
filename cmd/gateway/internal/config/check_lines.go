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
	// What hangs on a pin is checkPins' business.
	type device struct{ node, set string }
	taken := map[device]garden.LineID{}
	for _, l := range g.Lines {
		path := "lines." + string(l.ID)
		if r.sound(path+".valve") && l.Valve.Kind == garden.RemoteValve {
			d, found := device{node: l.Valve.Node}, "node "+strconv.Quote(l.Valve.Node)
			if l.Valve.Plain != nil {
				d.set = l.Valve.Plain.Set
				found = "topic " + strconv.Quote(d.set)
			}
			if other, twice := taken[d]; twice {
				r.say(path+".valve", "two lines on one valve", found, fmt.Sprintf("a valve that line %q does not use", other))
			} else {
				taken[d] = l.ID
			}
		}
		if flow := l.FlowLPH(); r.sound(path+".waters", "supply.flow") && flow > g.Supply.FlowLPH*(1+1e-9) {
			r.say(path+".waters", "its emitters need more than the supply carries", units.Flow().Format(flow, "L/h", 1), "at most "+r.asWritten("supply.flow", units.Flow().Format(g.Supply.FlowLPH, "L/h", 1)))
		}
		if r.sound(path+".waters") && len(l.Outlets) == 0 {
			r.say(path+".waters", "waters nothing", "", "at least one zone")
		}
		if at := path + ".max-on"; r.sound(at) && l.MaxOn > g.Limits.MaxOn && !r.unsound["limits.max-on"] {
			r.say(at, "longer than the garden's limit", words(l.MaxOn), "at most "+words(g.Limits.MaxOn))
		}
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

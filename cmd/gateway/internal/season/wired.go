package season

import (
	"fmt"

	"fabricpot/control/garden"
	"fabricpot/valves"
)

// wired returns the garden as the bench can play it: what hangs on a broker
// hangs on a pin or a converter of its own. A garden with nothing remote is
// returned as it is.
func wired(g *garden.Garden) *garden.Garden {
	out := *g
	out.Pots = append([]garden.Pot(nil), g.Pots...)
	out.Lines = append([]garden.Line(nil), g.Lines...)
	any := false
	for i := range out.Lines {
		if v := &out.Lines[i].Valve; v.Kind == garden.RemoteValve {
			*v, any = garden.Valve{Kind: garden.PinValve}, true
		}
	}
	far := 0
	for i := range out.Pots {
		pot := &out.Pots[i]
		pot.Zones = append([]garden.Zone(nil), pot.Zones...)
		for k := range pot.Zones {
			z := &pot.Zones[k]
			z.Probes = append([]garden.Probe(nil), z.Probes...)
			for n := range z.Probes {
				if p := &z.Probes[n]; p.Remote != nil {
					any = true
					p.Remote, p.Input = nil, garden.Input{Bus: fmt.Sprintf("far-%d", far), Addr: 0x48}
					far++
					if g.CalibrationFor(pot, p).Kind == garden.NoCurve {
						p.Calibration = played(p.Calibration)
					}
				}
			}
		}
	}
	if !any {
		return g
	}
	return &out
}

// Played is another version of the garden as this bench plays it.
func (b *Bench) Played(g *garden.Garden) *garden.Garden {
	if b.far {
		return g
	}
	return wired(g)
}

// played is what stands for the calibration of a probe that publishes water
// itself: any curve will do, since the bench makes volts by it and the driver
// takes them back by it.
func played(c garden.Calibration) garden.Calibration {
	c.Kind = garden.TwoPoint
	c.Points = []garden.CalibrationPoint{{Volts: 2.6, Water: 0.05}, {Volts: 1.2, Water: 0.65}}
	return c
}

// remoteLine is a real valve at the far end of a broker whose water the bench
// plays.
type remoteLine struct {
	id   garden.LineID
	act  valves.Actuator
	open bool
}

// follow lets simulated water run where a remote valve says that it is open.
func (b *Bench) follow() {
	for i := range b.remote {
		r := &b.remote[i]
		closed, known := r.act.Closed()
		if open := known && !closed; open != r.open {
			r.open = open
			b.Wires.Advance()
			b.Terrace.SetValve(r.id, open)
		}
	}
}

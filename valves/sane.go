package valves

import "fabricpot/control/garden"

// sane is the guard's second look, made from its own records and without
// permit's arithmetic: whatever a mistake there lets through stops here.
func (g *Guard) sane(now garden.Moment, ln *line, asked garden.Order, p pass) bool {
	if !(p.litres > 0 && p.litres <= asked.Litres) || p.maxOn <= 0 || p.maxOn > asked.MaxOn ||
		p.maxOn > ln.maxOn || p.maxOn > hardMaxOn || ln.pos != shut || ln.pulse != nil {
		return false
	}
	if g.float == garden.FloatDown {
		if !g.low.told || !g.meter.known || !g.low.proven && (g.anyPulse(now) || now.Mono < g.low.tryAt) {
			return false
		}
	}
	if g.pump.Fitted && (now.Mono < g.pump.lockedTill || p.maxOn > g.pump.MaxRun) {
		return false
	}
	worst := ln.flowLPH * p.maxOn.Hours()
	for _, c := range ln.charges {
		if c.at.age(now) < day {
			worst += c.litres
		}
	}
	flow, doubtful, running, most := ln.flowLPH, 0.0, 0, g.rules.supply.flowLPH*(1+slack)
	for _, other := range g.lines {
		switch {
		case other == ln || other.pulse == nil && len(other.owed) == 0 && other.pos != open && other.pos != opening:
		case asked.Kind != garden.Commission && other.unsure(now):
			doubtful += other.flowLPH
		default:
			flow += other.flowLPH
			running++
		}
	}
	return worst <= ln.capL*(1+slack) && flow <= most && (flow+doubtful <= most || running == 0)
}

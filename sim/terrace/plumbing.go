package terrace

import (
	"math"

	"fabricpot/control/garden"
)

// plumbing is the supply, the lines and their emitters.
type plumbing struct {
	supply   garden.Supply
	droop    float64
	exponent float64
	refill   float64
	tankL    float64
	hasTank  bool
	cut      bool
	meterOff bool
	meterL   float64
	pump     pump
	lines    []line
	fed      []float64 // nitrogen to each zone in the present segment, mg/h
	// flows holds each outlet's litres per hour in the present segment.
	byID map[garden.LineID]int
}

type line struct {
	id      garden.LineID
	open    bool
	stuck   Stuck
	leakLPH float64
	burst   float64 // factor on the flow of a hose that came off; 0 is whole
	litres  float64
	feedMgL float64 // nitrogen in its water
	outlets []outlet
	// nominal L/h of all outlets now, at full pressure, and in this segment.
	nominal, flowing float64
}

type outlet struct {
	zone     int
	rated    float64 // L/h of one emitter
	emitters []emitter
	blocked  float64 // share blocked by a fault
	nominal  float64 // L/h now at full pressure
}

type emitter struct{ factor, clogPerDay float64 }

func newPlumbing(g *garden.Garden, zones map[garden.ZoneID]int, o Options) *plumbing {
	p := &plumbing{
		supply: g.Supply, droop: o.SupplyDroop.Or(0.1), exponent: o.EmitterExponent.Or(0.5),
		refill: o.TankRefillLPH, hasTank: g.Supply.TankL.Known, tankL: g.Supply.TankL.Or(0),
		byID: map[garden.LineID]int{},
	}
	for i, gl := range g.Lines {
		l := line{id: gl.ID}
		// DU of the lowest quarter of a normal spread: 1 - 1.27·CV.
		cv := o.EmitterSpread.Or(0)
		if !o.EmitterSpread.Known && gl.DU > 0 {
			cv = math.Max(0, (1-gl.DU)/1.27)
		}
		spread := stream(o.Seed, forEmitters, i, 0)
		clog := stream(o.Seed, forClogging, i, 0)
		for _, go_ := range gl.Outlets {
			z, known := zones[go_.Zone]
			if !known {
				continue
			}
			out := outlet{zone: z, rated: go_.FlowLPH}
			for range max(0, go_.Emitters) {
				out.emitters = append(out.emitters, emitter{
					factor:     math.Max(0.1, 1+cv*spread.NormFloat64()),
					clogPerDay: o.Clogging / 100 * clog.ExpFloat64(),
				})
			}
			l.outlets = append(l.outlets, out)
		}
		p.byID[gl.ID] = len(p.lines)
		p.lines = append(p.lines, l)
	}
	p.age(0)
	return p
}

// age recomputes what the emitters give after days of use.
func (p *plumbing) age(days float64) {
	for i := range p.lines {
		l := &p.lines[i]
		l.nominal = 0
		for j := range l.outlets {
			o := &l.outlets[j]
			o.nominal = 0
			for _, e := range o.emitters {
				o.nominal += o.rated * e.factor * math.Max(0, 1-e.clogPerDay*days)
			}
			o.nominal *= 1 - o.blocked
			l.nominal += o.nominal
		}
	}
}

// running reports whether water can pass the valve.
func (l *line) running() bool {
	return (l.open && l.stuck != StuckClosed) || l.stuck == StuckOpen
}

// flow works out the lines' flow for a segment of hours, adds the litres to the
// zones' inflow in L/h, and counts them.
func (p *plumbing) flow(hours float64, inflow []float64) {
	var asked float64
	for i := range p.lines {
		l := &p.lines[i]
		l.flowing = 0
		if l.running() {
			l.flowing = l.nominal
			if l.burst > 0 {
				l.flowing *= l.burst
			}
		} else if l.leakLPH > 0 {
			l.flowing = l.leakLPH
		}
		asked += l.flowing
	}
	share := 0.0
	if asked > 0 {
		share = p.share(asked, hours)
	}
	p.pump.run(hours, asked > 0, share > 0)
	if p.hasTank {
		p.tankL = math.Max(0, math.Min(p.supply.TankL.Value, p.tankL+hours*(p.refill-asked*share)))
	}
	if asked == 0 {
		return
	}
	for i := range p.lines {
		l := &p.lines[i]
		l.flowing *= share
		if l.flowing == 0 {
			continue
		}
		l.litres += hours * l.flowing
		if !p.meterOff {
			p.meterL += hours * l.flowing
		}
		if l.burst > 0 || l.nominal == 0 {
			continue // runs onto the terrace
		}
		for j := range l.outlets {
			o := &l.outlets[j]
			flow := l.flowing * o.nominal / l.nominal
			inflow[o.zone] += flow
			if l.feedMgL > 0 {
				p.fed[o.zone] += flow * l.feedMgL
			}
		}
	}
}

// share is the part of the flow asked for that the supply gives: pressure sags
// with the square of the flow, emitters answer with their exponent, and no more
// comes than the supply can carry or the tank holds.
func (p *plumbing) share(asked, hours float64) float64 {
	if p.cut || p.supply.Pump.Fitted && !p.pump.on {
		return 0
	}
	share := 1.0
	if most := p.supply.FlowLPH; most > 0 {
		load := math.Min(1, asked/most)
		share = math.Pow(1-p.droop*load*load, p.exponent)
		share = math.Min(share, most/asked)
	}
	if p.hasTank {
		share = math.Min(share, p.tankL/hours/asked+p.refill/asked)
	}
	return share
}

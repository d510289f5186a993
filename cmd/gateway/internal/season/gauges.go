package season

import (
	"math"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
)

// meterEvery is how often the bench looks at the meter while a line is open. A
// board looks every 50 ms; here each look costs a step of every soil column.
const meterEvery = 5 * time.Second

// gauges are the terrace's flow meter and tank.
type gauges struct {
	b         *Bench
	perL      float64
	noisePerH float64 // pulses an hour that no water made
	noiseFrom time.Duration
	noise     float64
	lost      bool // the meter does not answer
}

func (b *Bench) gauges() runner.Gauges {
	b.water.b, b.water.perL = b, b.Garden.Supply.MeterPulsesPerL.Or(0)
	return &b.water
}

func (b *Bench) metered() bool { return b.water.perL > 0 }

// MeterL is what the pulses counted so far come to: whole pulses.
func (g *gauges) MeterL() garden.Measured {
	if g.perL <= 0 || g.lost {
		return garden.Measured{}
	}
	g.b.Wires.Advance()
	now := g.b.Clock.Now()
	g.noise += g.noisePerH * max(0, now-g.noiseFrom).Hours()
	g.noiseFrom = now
	return garden.Known(math.Floor(g.b.Terrace.MeterLitres()*g.perL+g.noise) / g.perL)
}

// TankL is what the tank holds.
func (g *gauges) TankL() garden.Measured { return g.b.Terrace.TankL() }

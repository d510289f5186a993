package season

import (
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
	"fabricpot/sensors/pulse"
	"fabricpot/sim/bench"
	"fabricpot/valves"

	"periph.io/x/conn/v3/gpio"
)

// meterEvery is how often the bench looks at the meter while a line is open. A
// board looks every 50 ms; here each look costs a step of every soil column.
const meterEvery = 5 * time.Second

// floatAtLeast is the share of a tank's volume at which its float falls where no
// reserve is kept back.
const floatAtLeast = 0.02

// gauges are the terrace's flow meter, rain gauge, float and tank. Contacts and
// what they counted outlive a gateway; what believes them is made with it.
type gauges struct {
	*runner.PulseGauges
	b     *Bench
	meter *bench.Contact // nil where there is none
	rain  *bench.Contact
	float *bench.Contact
}

func (b *Bench) gauges(seed uint64) (runner.Gauges, error) {
	w := &b.water
	w.b = b
	t, g, clk := b.Terrace, b.Garden, b.Clock
	if perL := g.Supply.MeterPulsesPerL.Or(0); perL > 0 && w.meter == nil {
		w.meter = bench.NewCounter(clk, seed^1, pulse.DeadTime(perL, g.Supply.FlowLPH), func() float64 { return t.MeterLitres() * perL })
	}
	if g.Rain.Fitted && w.rain == nil {
		w.rain = bench.NewCounter(clk, seed^2, pulse.TipGap(g.Rain.MMPerTip), func() float64 { return t.RainMM() / g.Rain.MMPerTip })
	}
	if g.Supply.Float.Fitted && w.float == nil {
		falls := max(g.Supply.TankReserveL, floatAtLeast*g.Supply.TankL.Or(0))
		w.float = bench.NewSwitch(clk, func() bool { l := t.TankL(); return !l.Known || l.Value > falls })
	}
	var in runner.PulseInputs
	if w.meter != nil {
		in.Meter = w.meter
	}
	if w.rain != nil {
		in.Rain = w.rain
	}
	if w.float != nil {
		in.Float = w.float
	}
	var err error
	w.PulseGauges, err = runner.NewPulseGauges(g, in)
	return w, err
}

func (b *Bench) metered() bool { return b.water.meter != nil }

// MeterL is what the pulses counted so far come to: whole pulses.
func (w *gauges) MeterL(now garden.Moment) garden.Measured {
	if w.meter == nil {
		return garden.Measured{}
	}
	w.b.Wires.Advance()
	return w.PulseGauges.MeterL(now)
}

// Float is what the float says of the tank as it is now.
func (w *gauges) Float(now garden.Moment) garden.Float {
	if w.float != nil {
		w.b.Wires.Advance()
	}
	return w.PulseGauges.Float(now)
}

// TankL is what the tank holds. A tank with a float has no other gauge.
func (w *gauges) TankL() garden.Measured {
	if w.float != nil {
		return garden.Measured{}
	}
	return w.b.Terrace.TankL()
}

// Contacts are the reeds and the switch behind the bench's gauges, for faults;
// nil where the garden has none.
func (b *Bench) Contacts() (meter, rain, float *bench.Contact) {
	return b.water.meter, b.water.rain, b.water.float
}

// Gauges are what the bench measures of the water.
func (b *Bench) Gauges() runner.Gauges { return &b.water }

// behindPump puts every line behind the garden's pump, where it has one.
func (b *Bench) behindPump(act map[garden.LineID]valves.Actuator, coil func(*bench.Pin) gpio.PinOut) {
	pin := b.Wires.PumpPin()
	if pin == nil {
		return
	}
	pump := valves.NewPump(valves.NewCoil(coil(pin), b.Garden.Supply.Pump.ActiveLow))
	for id, a := range act {
		act[id] = pump.Behind(a)
	}
}

// RainSoFar is what the gauge has of this hour and the one before, and of the
// last 24 whole hours, mm.
func (b *Bench) RainSoFar() (hour, day float64) { return b.water.RainSoFar() }

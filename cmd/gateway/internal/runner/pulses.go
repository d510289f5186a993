package runner

import (
	"fmt"
	"sync"

	"fabricpot/control/alarm"
	"fabricpot/control/garden"
	"fabricpot/sensors/pulse"
)

// What gauges are called in alarms.
const (
	meterName = "meter"
	rainName  = "rain gauge"
	floatName = "float"
)

// PulseInputs are the contacts that a garden's gauges hang on; nil where there is
// none.
type PulseInputs struct {
	Meter pulse.Counter
	Rain  pulse.Counter
	Float pulse.Switch
}

// PulseGauges are gauges made of contacts: input lines on a board, virtual ones
// on the bench. Any goroutine may use them.
type PulseGauges struct {
	in PulseInputs

	mu    sync.Mutex
	meter *pulse.Meter
	rain  *pulse.Rain
	float pulse.Float
}

// NewPulseGauges believes those contacts as the garden says what they mean.
func NewPulseGauges(g *garden.Garden, in PulseInputs) (*PulseGauges, error) {
	p := &PulseGauges{in: in}
	var err error
	if in.Meter != nil {
		if p.meter, err = pulse.NewMeter(g.Supply.MeterPulsesPerL.Or(0), g.Supply.FlowLPH); err != nil {
			return nil, err
		}
	}
	if in.Rain != nil {
		if p.rain, err = pulse.NewRain(g.Rain.MMPerTip); err != nil {
			return nil, err
		}
	}
	return p, nil
}

// MeterL is what the meter has counted in all, litres.
func (p *PulseGauges) MeterL(now garden.Moment) garden.Measured {
	if p.meter == nil {
		return garden.Measured{}
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	// Counted under the lock: two that read at once must not hand their counts over
	// in the other order. It only looks at what an owner of its own has counted.
	return p.meter.Read(now.Mono, p.in.Meter.Pulses())
}

// TankL is not told by any contact.
func (p *PulseGauges) TankL() garden.Measured { return garden.Measured{} }

// Float is what the float says.
func (p *PulseGauges) Float(now garden.Moment) garden.Float {
	if p.in.Float == nil {
		return garden.NoFloat
	}
	closed, err := p.in.Float.Closed()
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.float.Read(now.Mono, closed, err)
}

// RainMM is the rain since it was last asked, mm.
func (p *PulseGauges) RainMM(now garden.Moment) garden.Measured {
	if p.rain == nil {
		return garden.Measured{}
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.rain.Read(now.Mono, p.in.Rain.Pulses())
}

// RainSoFar is the rain of this hour and the one before and of the last 24 whole
// hours, mm.
func (p *PulseGauges) RainSoFar() (hour, day float64) {
	if p.rain == nil {
		return 0, 0
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.rain.LastHourMM(), p.rain.DayMM()
}

// Worries are the gauges that can't be believed.
func (p *PulseGauges) Worries(now garden.Moment) (out []Worry) {
	p.mu.Lock()
	defer p.mu.Unlock()
	add := func(what, why string) {
		if why != "" {
			out = append(out, Worry{Kind: alarm.GaugeDoubtful, Subject: what, Text: fmt.Sprintf("%s: %s", what, why)})
		}
	}
	if p.meter != nil {
		add(meterName, p.meter.Trouble(now.Mono))
	}
	if p.rain != nil {
		add(rainName, p.rain.Trouble(now.Mono))
	}
	add(floatName, p.float.Trouble())
	return out
}

var _ Gauges = (*PulseGauges)(nil)

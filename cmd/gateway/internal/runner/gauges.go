package runner

import "fabricpot/control/garden"

// Gauges is what is measured of the water itself, between the supply and the
// lines. Both methods are called from the goroutine that ends pulses as well,
// so they return at once.
type Gauges interface {
	// MeterL is what a flow meter on the supply has counted in all, litres;
	// absent where there is none or it does not answer.
	MeterL() garden.Measured
	// TankL is what the tank holds, litres, reserve included.
	TankL() garden.Measured
}

// count tells the guard what the meter says. A garden without a meter never
// calls it, so that pulses go by nominal flow.
func (l *Loop) count(now garden.Moment) {
	if l.metered {
		l.p.Guard.Meter(now, l.p.Gauges.MeterL())
	}
}

package season

import (
	"time"

	"fabricpot/control/garden"
	"fabricpot/sensors/w1"
)

// warmth is the mix temperature at a garden's probes: by the driver where the zone
// has a thermometer, and else as the bench knows it. numbers are the probes' in
// the whole garden; nil where they are the same.
func (b *Bench) warmth(g *garden.Garden, numbers []int) (func(int) garden.Measured, error) {
	set, err := w1.NewSet(g, b.Wires.W1(), b.Clock)
	if err != nil {
		return nil, err
	}
	next := time.Duration(-1)
	return func(i int) garden.Measured {
		if set.Serves(i) {
			if now := b.Clock.Now(); now >= next {
				// What fails shows as a temperature that is absent.
				_ = set.Measure()
				next = now + w1.Every
			}
			return set.TempC(i)
		}
		if numbers != nil {
			i = numbers[i]
		}
		return b.Wires.ProbeTempC(i)
	}, nil
}

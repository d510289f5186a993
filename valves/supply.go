package valves

import "time"

// supply is what every line draws from: it carries so much at once.
type supply struct {
	flowLPH float64
}

// draw is one line that takes, or may be taking, water.
type draw struct {
	flowLPH float64
	// until is when it must have ended, on the monotonic clock.
	until time.Duration
}

// slack absorbs the rounding of sums of flows, as a share of the supply.
const slack = 1e-9

// carries reports whether one more line of that flow may run beside the draws.
// If not, until is when the first of them ends; zero where none ever will.
func (s supply) carries(draws []draw, flowLPH float64) (ok bool, until time.Duration) {
	sum := flowLPH
	for _, d := range draws {
		sum += d.flowLPH
		if until == 0 || d.until < until {
			until = d.until
		}
	}
	if sum <= s.flowLPH*(1+slack) {
		return true, 0
	}
	return false, until
}

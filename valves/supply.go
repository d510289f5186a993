package valves

import (
	"time"

	"fabricpot/control/garden"
)

// supply is what every line draws from: it carries so much at once.
type supply struct {
	flowLPH float64
}

// draw is one line that takes, or may be taking, water.
type draw struct {
	flowLPH float64
	// until is when it must have ended, on the monotonic clock.
	until time.Duration
	// unsure: its close is not confirmed for so long that nobody can tell whether
	// it takes any.
	unsure bool
}

// slack absorbs the rounding of sums of flows, as a share of the supply.
const slack = 1e-9

const (
	// unsureAfter is how long a close must have been commanded in vain, and
	// unsureTries how often, before the line's flow is no longer kept free for it.
	// People are told long before. The tries are those of a guard that was driven all
	// the while: time alone says nothing where nobody repeated the close.
	unsureAfter = 30 * time.Minute
	unsureTries = 60
)

// unsure reports whether the line's close is not confirmed for so long. The lock
// is held.
func (ln *line) unsure(now garden.Moment) bool {
	return ln.pos == unconfirmed && ln.attempts >= unsureTries && now.Mono-ln.since >= unsureAfter
}

// carries reports whether one more line of that flow may run beside the draws.
// If not, until is when the first of them ends; zero where none ever will.
//
// Each draw counts in full. Where lines that are unsure leave no room, a line may
// run all the same, alone and within what the supply carries: a supply for one line
// would otherwise water nothing else for as long as a pin stays broken, and the
// other plants die of a fault that is not theirs. It is the lesser harm whichever
// way the failed valve stands. Where it is shut, nothing is shared. Where it is
// open and under pressure, it takes what it can already, and the other takes its
// share from that; behind a pump it runs along, no longer than the other's deadlines
// and the other's day allow. The other gets less than was reckoned and never more:
// its pulse ends at its own deadline, its litres count at its nominal flow against
// its own cap, and its probe asks for the rest. The failed line itself still opens
// for nothing, and its close goes on being repeated.
func (s supply) carries(draws []draw, flowLPH float64) (ok bool, until time.Duration) {
	sum, sure, unsure := flowLPH, false, false
	for _, d := range draws {
		sum += d.flowLPH
		if d.unsure {
			unsure = true
			continue
		}
		if sure = true; until == 0 || d.until < until {
			until = d.until
		}
	}
	most := s.flowLPH * (1 + slack)
	if sum <= most || unsure && !sure && flowLPH <= most {
		return true, 0
	}
	return false, until
}

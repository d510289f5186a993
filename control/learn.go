package control

import (
	"math"
	"time"

	"fabricpot/control/garden"
)

// learn takes the zone's demand factor from how it dries, where the level itself
// can't tell.
func (p *Plan) learn(z *zoneState, mid, cc float64, now garden.Moment, since time.Duration) {
	if !z.blind || since < dryingFrom {
		return
	}
	if !z.drying && mid >= cc {
		// Still draining down: that is no loss.
		return
	}
	z.dryNow = mid
	if z.drying {
		if now.Mono-z.dryAt < leastDryingFor {
			return
		}
		z.dried()
	}
	z.drying, z.dry, z.drySpent, z.dryAt = true, mid, z.spent, now.Mono
}

// dried judges the drying that ends now.
func (z *zoneState) dried() {
	spent := z.spent - z.drySpent
	if !z.drying || spent < leastDrying {
		return
	}
	gone := z.dry - z.dryNow
	sd := 0.05 + math.Sqrt(readingSD*readingSD/4+0.01*gone*gone)/spent
	if z.half {
		// The litres tell better.
		sd += halfDryingSD
	}
	z.water.UpdateFactor(min(gone/spent, mostDrying), sd)
	z.drying = false
}

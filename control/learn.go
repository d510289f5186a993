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

// DryingMemory is what a restart must not forget of a drying: how long ago it began,
// from where to where the probes fell, m³/m³, and what the book lost meanwhile.
type DryingMemory struct {
	Hours float64 `json:"hours"`
	From  float64 `json:"from"`
	To    float64 `json:"to"`
	Spent float64 `json:"spent"`
}

func (z *zoneState) rememberDrying(now time.Duration) *DryingMemory {
	if !z.drying {
		return nil
	}
	return &DryingMemory{Hours: (now - z.dryAt).Hours(), From: z.dry, To: z.dryNow, Spent: z.spent - z.drySpent}
}

// recallDrying goes on with a drying that was kept age ago, in a zone that has lost
// nothing yet in this run. What can't be leaves none.
func (z *zoneState) recallDrying(r *DryingMemory, now, age time.Duration) {
	if r == nil || !sound(r.Hours, r.From, r.To, r.Spent) || r.Hours > mostSpan.Hours() || r.From > 1 || r.To > 1 {
		return
	}
	z.drying, z.dryAt, z.dry, z.dryNow, z.drySpent = true, now-age-hours(r.Hours), r.From, r.To, z.spent-r.Spent
}

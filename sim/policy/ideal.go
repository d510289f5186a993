package policy

import "math"

// Store is one zone of an ideal season, by ledger.
type Store struct {
	// LossL and RainL are what the zone loses when never thirsty, and what rain
	// reaches its mix, each day, L.
	LossL, RainL []float64
	// HoldL is what it holds between container capacity and the onset of thirst,
	// L. It begins full.
	HoldL float64
	// GainLPH is what it gets while its line is open, L/h.
	GainLPH float64
	// LeachingFraction of what it is given is meant to drain, 0..0.4.
	LeachingFraction float64
}

// Least is what a line that knew the future would have given.
type Least struct {
	// WaterL was given to each zone and DrainedL left it, rain included;
	// LeftL is what the store holds at the end beyond the onset of thirst.
	WaterL, DrainedL, LeftL []float64
}

// LeastWater is a bound by ledger for the zones of one line: nobody is ever
// thirsty, and water is given on the last day it can wait for, so that the stores
// have all the room they can have when it rains. Zones on one line get water
// together, in proportion to what the line really gives them: what one needs, the
// other may have to drain. A day's rain counts before its thirst, and so does the
// room that the day's loss makes: no controller can do better than that.
func LeastWater(zones []Store) Least {
	n := len(zones)
	out := Least{WaterL: make([]float64, n), DrainedL: make([]float64, n), LeftL: make([]float64, n)}
	days := 0
	for i, z := range zones {
		out.LeftL[i] = z.HoldL
		days = max(days, len(z.LossL))
	}
	for d := range days {
		hours := 0.0
		for i, z := range zones {
			out.LeftL[i] += at(z.RainL, d) - at(z.LossL, d)
			if out.LeftL[i] < 0 && z.GainLPH > 0 {
				hours = math.Max(hours, -out.LeftL[i]/z.GainLPH/(1-z.LeachingFraction))
			}
		}
		for i, z := range zones {
			given := hours * z.GainLPH
			leached := given * z.LeachingFraction
			out.WaterL[i] += given
			out.LeftL[i] += given - leached
			over := math.Max(0, out.LeftL[i]-z.HoldL)
			out.LeftL[i] -= over
			out.DrainedL[i] += over + leached
		}
	}
	return out
}

func at(v []float64, i int) float64 {
	if i < len(v) {
		return v[i]
	}
	return 0
}

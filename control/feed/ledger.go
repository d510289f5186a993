package feed

import (
	"fmt"
	"math"

	"fabricpot/control/garden"
)

// StarterDays is how long a mix's starter charge lasts, days: rich mixes are
// spent in three to five weeks (common practice, no source).
const StarterDays = 28

// Ledger accounts for N, P and K in one zone, in grams. Nothing appears or
// vanishes in it: starter + fed = reserve + pool + taken + leached, always.
type Ledger struct {
	// Starter is the charge mixed in at the start and Reserve what of it has
	// not been released yet.
	Starter, Reserve NPK
	// Pool is dissolved in the zone's water, where roots and leachate reach it.
	Pool NPK
	// Fed, Taken and Leached are sums since the start.
	Fed, Taken, Leached NPK
	// ReleaseDays is the time the charge takes, at an even rate.
	ReleaseDays float64
}

// NewLedger begins a ledger with a starter charge in grams that is released
// evenly over releaseDays (0 means StarterDays; else 1 to 365).
func NewLedger(starter NPK, releaseDays float64) (Ledger, error) {
	if releaseDays == 0 {
		releaseDays = StarterDays
	}
	if !starter.Valid() {
		return Ledger{}, fmt.Errorf("feed: starter charge %+v g, expected finite amounts of 0 or more", starter)
	}
	if !garden.Finite(releaseDays) || releaseDays < 1 || releaseDays > 365 {
		return Ledger{}, fmt.Errorf("feed: starter charge released over %v days, expected 1 to 365", releaseDays)
	}
	return Ledger{Starter: starter, Reserve: starter, ReleaseDays: releaseDays}, nil
}

// StarterCharge is the charge of a zone of that many litres of mix, g.
func StarterCharge(m *garden.Mix, zoneL float64) NPK {
	return NPK{m.StarterNmgL, m.StarterPmgL, m.StarterKmgL}.Times(zoneL / 1000)
}

// Feed enters nutrients given, g.
func (l *Ledger) Feed(given NPK) error {
	if !given.Valid() {
		return fmt.Errorf("feed: ledger: %+v g given, expected finite amounts of 0 or more", given)
	}
	l.Pool = l.Pool.Add(given)
	l.Fed = l.Fed.Add(given)
	return nil
}

// Pass lets days go by: the starter charge releases and the plants take up
// demand per day (g/d), as far as the pool holds it. It returns what they took.
func (l *Ledger) Pass(days float64, demand NPK) (NPK, error) {
	if !garden.Finite(days) || days < 0 {
		return NPK{}, fmt.Errorf("feed: ledger: %v days passed, expected 0 or more", days)
	}
	if !demand.Valid() {
		return NPK{}, fmt.Errorf("feed: ledger: demand %+v g/d, expected finite amounts of 0 or more", demand)
	}
	out := l.released(days)
	l.Reserve = l.Reserve.Sub(out)
	l.Pool = l.Pool.Add(out)
	taken := l.Pool.Least(demand.Times(days))
	l.Pool = l.Pool.Sub(taken)
	l.Taken = l.Taken.Add(taken)
	return taken, nil
}

func (l *Ledger) released(days float64) NPK {
	return l.Reserve.Least(l.Starter.Times(days / l.ReleaseDays))
}

// Leach takes out what drainedL litres of leachate carry away from a zone that
// holds heldL litres of water. The zone is taken as well mixed, so that what
// stays falls off exponentially with the water that went through:
// lost = pool · (1 - exp(-drained/held)). It returns the loss in grams. Of leachate that
// is richer than the zone's mean by a factor, pass as many times the litres.
func (l *Ledger) Leach(drainedL, heldL float64) (NPK, error) {
	f, err := flushedShare(drainedL, heldL)
	if err != nil {
		return NPK{}, err
	}
	lost := l.Pool.Times(f)
	l.Pool = l.Pool.Sub(lost)
	l.Leached = l.Leached.Add(lost)
	return lost, nil
}

func flushedShare(drainedL, heldL float64) (float64, error) {
	if !garden.Finite(drainedL) || drainedL < 0 {
		return 0, fmt.Errorf("feed: %v L drained, expected 0 or more", drainedL)
	}
	if !garden.Finite(heldL) || heldL <= 0 {
		return 0, fmt.Errorf("feed: zone holds %v L of water, expected more than 0", heldL)
	}
	return -math.Expm1(-drainedL / heldL), nil
}

// Imbalance is starter + fed - reserve - pool - taken - leached, g: rounding
// and nothing else.
func (l Ledger) Imbalance() NPK {
	return l.Starter.Add(l.Fed).Sub(l.Reserve).Sub(l.Pool).Sub(l.Taken).Sub(l.Leached)
}

// maxDaysLeft is how far DaysOfN looks ahead.
const maxDaysLeft = 60

// DaysOfN is for how many days the pool and the coming release cover a demand
// of nPerDay g N per day, with leach as the share of the pool that leaves with
// drainage per day (0..1). It looks 60 days ahead and returns at most that.
func (l Ledger) DaysOfN(nPerDay, leach float64) float64 {
	if !(nPerDay > 0) {
		return maxDaysLeft
	}
	leach = min(max(leach, 0), 1)
	pool, reserve, rate := l.Pool.N, l.Reserve.N, l.Starter.N/l.ReleaseDays
	for day := range maxDaysLeft {
		out := min(reserve, rate)
		reserve -= out
		pool += out
		// A release that just meets the demand must not end on rounding.
		if pool < nPerDay*(1-1e-9) {
			return float64(day) + pool/nPerDay
		}
		pool = max(0, pool-nPerDay) * (1 - leach)
	}
	return maxDaysLeft
}

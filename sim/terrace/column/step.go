package column

import "math"

const (
	// acceptDU is the largest Newton correction whose linearised fluxes are
	// taken as they are; what it leaves is some 1e-4 of the step's change and
	// returns in the next residual.
	acceptDU = 0.01
	// maxIterations before a step is halved.
	maxIterations = 12
	// clipDU bounds one correction.
	clipDU = 0.7
	// wantDU is the change of state per sub-step aimed at.
	wantDU = 0.4
	// leastStepH is the shortest sub-step, h (a hundredth of a second); below
	// it the correction is taken however large, which keeps mass all the same.
	leastStepH = 0.01 / 3600
	// busyDUPerH is the rate of change over which steps should be short.
	busyDUPerH = 0.9
)

// Step advances the column by hours, with rain and irrigation falling on it at
// constant rates in cm/h over the mean area. bypass (0..1) is the share of both
// that runs down the wall and out without wetting the mix, as water does in a
// pot that has dried out and shrunk.
func (c *Column) Step(hours, rain, water, bypass float64) {
	if !(hours > 0) {
		return
	}
	offered := rain + water
	past := bypass * offered
	rate := offered - past
	fastest := 0.0
	for left := hours; left > 0; {
		dt := min(left, c.dtTry)
		// No sliver at the end.
		if left-dt < 0.2*dt {
			dt = left
		}
		change, ok := c.try(dt, rate+c.pond/dt)
		if !ok && dt > leastStepH {
			copy(c.u, c.uOld)
			c.dtTry = dt / 3
			continue
		}
		c.commit(dt, rate)
		c.moves.note(dt, rain, water)
		c.t.In += dt * offered
		c.t.Drained += dt * past
		c.moves.bypass += dt * past
		left -= dt
		fastest = max(fastest, change/dt)
		switch {
		case change > wantDU:
			c.dtTry = dt * max(0.3, wantDU/change)
		case change < 0.5*wantDU:
			c.dtTry = max(c.dtTry, 2*dt)
		}
	}
	c.busy = offered > 0 || c.pond > 0 || fastest > busyDUPerH
}

// commit moves storage by the fluxes that try left behind.
func (c *Column) commit(dt, rate float64) {
	n := c.n
	q := c.q[:n+1]
	w, sink, inv, passed := c.w[:n], c.sink[:n], c.invVol[:n], c.passed[:n+1]
	above := q[0]
	passed[0] += dt * above
	out := 0.0
	for i := range w {
		below := q[i+1]
		w[i] += dt * (above - below - sink[i]) * inv[i]
		passed[i+1] += dt * below
		out += sink[i]
		above = below
	}
	c.t.Drained += dt * above
	if rate > 0 || c.pond > 0 || q[0] != 0 {
		c.pond += dt * (rate - q[0])
		if c.pond < 1e-12 {
			// Rounding, not water: what is left of a pond that has gone in.
			w[0] += c.pond * inv[0]
			passed[0] += c.pond
			c.pond = 0
		}
		if over := c.pond - c.pondMx; over > 0 {
			c.pond = c.pondMx
			c.t.RunOff += over
			c.moves.runOff += over
		}
	}
	up := 0.0
	for _, s := range c.uptake[:n] {
		up += s
	}
	c.t.Uptake += dt * up
	c.t.Evaporate += dt * (out - up)
	c.t.Steps++
}

// try solves one implicit step of dt hours with avail cm/h ready to go in on
// top. It leaves the new u and the fluxes; it returns the largest change of u
// and whether the iteration ended well. On failure u is to be restored.
func (c *Column) try(dt, avail float64) (change float64, ok bool) {
	copy(c.uOld, c.u)
	worst := 0.0
	for range maxIterations {
		c.t.Solves++
		worst = c.iterate(dt, avail)
		if worst < acceptDU {
			ok = true
			break
		}
		if worst != worst {
			return 0, false
		}
	}
	for i, u := range c.u[:c.n] {
		change = max(change, math.Abs(u-c.uOld[i]))
	}
	return change, ok
}

package column

import "math"

// u counts table nodes, sixty of which take suction from 0 to 2 cm, the next sixty
// to 18, then to 84 and to 260 cm.
const (
	// acceptDU is the largest Newton correction whose linearised fluxes are
	// taken as they are; what it leaves is some 1e-4 of the step's change and
	// returns in the next residual.
	acceptDU = 0.6
	// maxIterations before a step is halved.
	maxIterations = 12
	// clipDU bounds one correction.
	clipDU = 40
	// wantDU is the change of state per sub-step aimed at.
	wantDU = 24
	// leastStepH is the shortest sub-step, h (half a second); there the last
	// correction is taken however large, which keeps mass all the same.
	leastStepH = 0.5 / 3600
	// busyDUPerH is the rate of change over which steps should be short.
	busyDUPerH = 54
)

// Step advances the column by hours, with rain and irrigation falling on it at
// constant rates in cm/h over the mean area, finite and not negative, else
// nothing is done. bypass (0..1) is the share of both
// that runs down the wall and out without wetting the mix, as water does in a
// pot that has dried out and shrunk.
func (c *Column) Step(hours, rain, water, bypass float64) {
	if !(hours > 0) || !(rain >= 0) || !(water >= 0) || math.IsInf(hours+rain+water, 1) {
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
		if ok && dt > leastStepH && c.overdrawn {
			ok = false
		}
		if !ok {
			if dt > leastStepH {
				c.restore()
				c.dtTry = dt / 3
				continue
			}
			if change != change || c.overdrawn {
				// No solution, or none that the mix has the water for: let
				// nothing flow for this instant.
				c.restore()
				change = 0
				c.top.q = 0
				for i := range c.layers {
					l := &c.layers[i]
					l.q = 0
					l.next = l.w - dt*l.sink*l.invVol
				}
			}
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

// mostOverdrawn is how far out of the water its mix can hold a step may leave a
// cell: the fluxes of an iteration that ended well still err by as much as it was
// let. A wetting front in a mix that is nearly dry makes steps that take water from
// a cell that it does not have, or press in what finds no pore; they are taken again
// in smaller ones.
const mostOverdrawn = 2e-4

func (c *Column) restore() {
	for i := range c.layers {
		c.layers[i].u = c.layers[i].uOld
	}
}

// commit moves storage by the fluxes that try left behind.
func (c *Column) commit(dt, rate float64) {
	c.top.passed += dt * c.top.q
	layers := c.layers
	for i := range layers {
		l := &layers[i]
		l.w = l.next
		l.passed += dt * l.q
	}
	c.t.Drained += dt * layers[len(layers)-1].q
	if rate > 0 || c.pond > 0 || c.top.q != 0 {
		c.pond += dt * (rate - c.top.q)
		if c.pond < 1e-12 {
			// Rounding, not water: what is left of a pond that has gone in.
			layers[0].w += c.pond * layers[0].invVol
			c.top.passed += c.pond
			c.pond = 0
		}
		if over := c.pond - c.pondMx; over > 0 {
			c.pond = c.pondMx
			c.t.RunOff += over
			c.moves.runOff += over
		}
	}
	c.t.Uptake += dt * c.uptakeSum
	c.t.Evaporate += dt * c.evapSum
	c.t.Steps++
}

// try solves one implicit step of dt hours with avail cm/h ready to go in on
// top. It leaves the new u and the fluxes; it returns the largest change of u
// and whether the iteration ended well. On failure u is to be restored.
func (c *Column) try(dt, avail float64) (change float64, ok bool) {
	layers := c.layers
	change = c.iterate(dt, avail, true)
	c.t.Solves++
	if change < acceptDU {
		return change, true
	}
	for range maxIterations - 1 {
		worst := c.iterate(dt, avail, false)
		c.t.Solves++
		if worst != worst {
			return worst, false
		}
		if worst < acceptDU {
			ok = true
			break
		}
	}
	change = 0
	for i := range layers {
		change = max(change, math.Abs(layers[i].u-layers[i].uOld))
	}
	return change, ok
}

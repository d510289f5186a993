package column

import "math"

// Roots says how uptake and evaporation answer to dryness.
type Roots struct {
	// FullCM is the root-zone suction to which uptake is full, NilCM where it
	// ends, both in cm; linear between.
	FullCM, NilCM float64
	// AirDryCM is the suction of the drying surface, cm.
	AirDryCM float64
	// DecayCM is the e-folding depth of root density; 0 means even.
	DecayCM float64
}

// DefaultRoots are values for vegetables in soilless mixes: no stress down to
// 60 cm, nothing beyond 800 cm (judgement from the practice that such mixes are
// watered long before; field crops bear far more).
func DefaultRoots() Roots {
	return Roots{FullCM: 60, NilCM: 800, AirDryCM: 15000, DecayCM: 0}
}

const stressPoints = 1024

// Response is how uptake and evaporation answer to the water in one soil,
// tabulated once and shared by its columns.
//
// Uptake answers to the root zone's suction, which is the suction at the root
// zone's mean water fraction: a plant draws from where its roots find water, so a
// dry top does not stress it while the depth is moist.
type Response struct {
	Roots
	theta0, perTheta float64
	stress           [stressPoints]float64
	// wall is the share of a wet wall's evaporation, over the soil's table.
	wall     [nodes]float64
	phiDry   float64
	span     float64
	thetaDry float64
}

// Respond tabulates a Response; zero fields of r take DefaultRoots'.
func (s *Soil) Respond(r Roots) *Response {
	d := DefaultRoots()
	if r.FullCM <= 0 {
		r.FullCM = d.FullCM
	}
	if r.NilCM <= r.FullCM {
		r.NilCM = max(d.NilCM, 2*r.FullCM)
	}
	if r.AirDryCM <= 0 {
		r.AirDryCM = d.AirDryCM
	}
	t := &Response{Roots: r, span: 1 / (r.NilCM - r.FullCM)}
	wet, dry := s.Theta(r.FullCM), s.Theta(r.NilCM)
	t.theta0 = dry
	t.perTheta = (stressPoints - 1) / (wet - dry)
	for i := range t.stress {
		theta := dry + float64(i)/t.perTheta
		t.stress[i] = t.cell(s.Suction(theta))
	}
	t.stress[0], t.stress[stressPoints-1] = 0, 1
	for j := range t.wall {
		h, _ := suctionOf(float64(j))
		t.wall[j] = dryness(h, r.AirDryCM)
	}
	t.phiDry = s.at(clampU(uOf(r.AirDryCM))).phi
	t.thetaDry = s.Theta(r.AirDryCM)
	return t
}

// cell is the response to one suction.
func (t *Response) cell(h float64) float64 {
	switch {
	case h <= t.FullCM:
		return 1
	case h >= t.NilCM:
		return 0
	}
	return (t.NilCM - h) * t.span
}

// whole is the response to a root zone's mean water fraction.
func (t *Response) whole(theta float64) float64 {
	x := (theta - t.theta0) * t.perTheta
	if !(x > 0) {
		return 0
	}
	if x >= stressPoints-1 {
		return 1
	}
	i := int(x)
	return t.stress[i] + (x-float64(i))*(t.stress[i+1]-t.stress[i])
}

// SetRooting spreads the roots over the top share (0..1] of the height, even or
// falling with Roots.DecayCM.
func (c *Column) SetRooting(share float64) {
	depth := max(c.dz, min(1, share)*c.height)
	var sum float64
	for i := range c.layers {
		l := &c.layers[i]
		top, bottom := float64(i)*c.dz, float64(i+1)*c.dz
		l.root = l.vol * max(0, min(1, (depth-top)/c.dz))
		if c.roots.DecayCM > 0 {
			l.root *= math.Exp(-(top + bottom) / 2 / c.roots.DecayCM)
		}
		sum += l.root
	}
	for i := range c.layers {
		c.layers[i].root /= sum
	}
}

// Demand is what sun and air ask for, cm/h over the column's mean area.
type Demand struct {
	// Transpiration by the plants, Surface evaporation from the top of the mix,
	// Wall evaporation through the fabric.
	Transpiration, Surface, Wall float64
	// ForHours is how long the sinks will stand before the next SetDemand; no
	// cell is asked for more than part of its water in that time.
	ForHours float64
}

// Taken is what the mix yields of a Demand, cm/h.
type Taken struct{ Transpiration, Surface, Wall float64 }

// SetDemand sets the sinks from the present state; they hold until it is called
// again. Call it every few minutes, on a fixed grid of time.
//
// Uptake is potential × the response to the root zone's suction, taken where
// roots are and the mix is moist. Surface evaporation can't exceed what the top
// half-cell conducts to an air-dry surface (its matric flux potential); the wall
// dries likewise, layer by layer.
func (c *Column) SetDemand(d Demand) Taken {
	c.moveSolutes()
	var taken Taken
	hours := max(d.ForHours, 1e-3)
	r := c.roots
	// Where roots are and find water.
	var mean, sum float64
	if d.Transpiration > 0 {
		for i := range c.layers {
			l := &c.layers[i]
			mean += l.root * l.w
			c.scratch[i] = l.root * r.cell(l.h)
			sum += c.scratch[i]
		}
	}
	scale := 0.0
	if sum > 1e-12 {
		scale = d.Transpiration * r.whole(mean) / sum
	}
	wall := d.Wall / c.height
	for i := range c.layers {
		l := &c.layers[i]
		spare := max(0, 0.5*(l.w-r.thetaDry)*l.vol/hours)
		l.uptake, l.evap = 0, 0
		if scale > 0 {
			l.uptake = min(scale*c.scratch[i], spare)
		}
		if wall > 0 {
			// The fabric stays as moist as the mix behind it.
			l.evap = min(wall*l.vol*r.wall[int(l.u)&nodeMask], spare-l.uptake)
		}
		taken.Transpiration += l.uptake
		taken.Wall += l.evap
	}
	if d.Surface > 0 {
		l := &c.layers[0]
		carry := c.top.af * (c.soil.at(l.u).phi - r.phiDry) / (0.5 * c.dz)
		spare := 0.5*(l.w-r.thetaDry)*l.vol/hours - l.uptake - l.evap
		taken.Surface = max(0, min(d.Surface, min(carry, spare)))
		l.evap += taken.Surface
	}
	for i := range c.layers {
		l := &c.layers[i]
		l.sink = l.uptake + l.evap
	}
	c.uptakeSum, c.evapSum = taken.Transpiration, taken.Wall+taken.Surface
	return taken
}

// dryness falls from 1 at 100 cm to 0 at air-dry with the logarithm of suction.
func dryness(h, airDry float64) float64 {
	if h <= 100 {
		return 1
	}
	return max(0, math.Log(airDry/h)/math.Log(airDry/100))
}

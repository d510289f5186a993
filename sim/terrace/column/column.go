package column

import (
	"fmt"
	"math"

	"fabricpot/control/garden"
)

// Bottom is what the column stands on.
type Bottom uint8

const (
	// SeepageFace lets water out once the floor is saturated and none in: a pot
	// on a drained terrace.
	SeepageFace Bottom = iota
	// WaterTable holds the floor at zero suction: for checks against solutions
	// from the literature.
	WaterTable
)

// Config describes a column.
type Config struct {
	Soil *Soil
	// HeightCM is the depth of mix, over 0 to 300.
	HeightCM float64
	// Cells is how many layers, 2..400; 0 means 20.
	Cells int
	// BottomDiameterCM and TopDiameterCM give the taper; only their ratio
	// counts here. Both 0 means a cylinder.
	BottomDiameterCM, TopDiameterCM float64
	Bottom                          Bottom
	// MaxPondCM is how deep water can stand on the mix before it runs off, as a
	// layer over the mean cross-section.
	MaxPondCM float64
	// Roots and dryness; the zero value means DefaultRoots.
	Roots Roots
	// Solutes that travel with the water, the rain tag first where there is one.
	Solutes []Solute
}

// Column is one root zone's water.
type Column struct {
	soil   *Soil
	n      int
	dz     float64
	height float64
	bottom Bottom
	pond   float64
	pondMx float64
	roots  rootTables

	// Per cell: transformed suction, its value before the step, water fraction
	// as the fluxes moved it (the truth), volume per mean area, suction, sinks.
	u, uOld, w, vol, invVol, h []float64
	sink, uptake, evap         []float64
	// Per face: area over mean area, flux, its slopes by the cells above and
	// below, volume passed since the solutes were last moved.
	af, q, qa, qb, passed []float64
	// Elimination.
	cp, dp []float64
	rootW  []float64

	moves   transport
	dtTry   float64
	t       Totals
	busy    bool
	actual  float64
	deficit float64
}

// Totals are cumulative volumes in cm over the mean area since New.
type Totals struct {
	In        float64 // offered on top, rain and irrigation
	Drained   float64 // through the floor, bypass included
	RunOff    float64 // over the rim
	Uptake    float64 // by roots
	Evaporate float64 // surface and wall
	Steps     int64   // accepted sub-steps
	Solves    int64   // linear solves
}

// New makes a column drained to rest: suction equals height above the floor.
func New(cfg Config) (*Column, error) {
	n := cfg.Cells
	if n == 0 {
		n = 20
	}
	switch {
	case cfg.Soil == nil:
		return nil, fmt.Errorf("column: no soil given: make one with NewSoil")
	case n < 2 || n > 400:
		return nil, fmt.Errorf("column: %d cells, expected 2 to 400", n)
	case !garden.Finite(cfg.HeightCM) || cfg.HeightCM <= 0 || cfg.HeightCM > 300:
		return nil, fmt.Errorf("column: height of %v cm, expected over 0 to 300", cfg.HeightCM)
	case !garden.Finite(cfg.MaxPondCM) || cfg.MaxPondCM < 0:
		return nil, fmt.Errorf("column: pond of %v cm, expected 0 or more", cfg.MaxPondCM)
	}
	db, dt := cfg.BottomDiameterCM, cfg.TopDiameterCM
	if db == 0 && dt == 0 {
		db, dt = 1, 1
	}
	if !garden.Finite(db) || !garden.Finite(dt) || db <= 0 || dt <= 0 {
		return nil, fmt.Errorf("column: diameters %v and %v cm, expected over 0", db, dt)
	}
	c := &Column{soil: cfg.Soil, n: n, dz: cfg.HeightCM / float64(n), height: cfg.HeightCM,
		bottom: cfg.Bottom, pondMx: cfg.MaxPondCM, dtTry: math.Inf(1)}
	for _, s := range []*[]float64{&c.u, &c.uOld, &c.w, &c.vol, &c.invVol, &c.h,
		&c.sink, &c.uptake, &c.evap, &c.cp, &c.dp, &c.rootW} {
		*s = make([]float64, n)
	}
	for _, s := range []*[]float64{&c.af, &c.q, &c.qa, &c.qb, &c.passed} {
		*s = make([]float64, n+1)
	}
	c.shape(db, dt)
	c.roots = newRootTables(cfg.Soil, cfg.Roots)
	c.moves = newTransport(n, cfg.Solutes)
	c.SetRooting(1)
	c.Rest(0)
	return c, nil
}

// shape sets face areas and cell volumes of a frustum, relative to its mean
// cross-section, so that the volumes sum to the height.
func (c *Column) shape(bottomD, topD float64) {
	// Mean of d² along the height, d linear.
	mean := (bottomD*bottomD + bottomD*topD + topD*topD) / 3
	diameter := func(depth float64) float64 { return topD + (bottomD-topD)*depth/c.height }
	for i := range c.af {
		d := diameter(float64(i) * c.dz)
		c.af[i] = d * d / mean
	}
	for i := range c.vol {
		a, b := diameter(float64(i)*c.dz), diameter(float64(i+1)*c.dz)
		c.vol[i] = c.dz * (a*a + a*b + b*b) / 3 / mean
		c.invVol[i] = 1 / c.vol[i]
	}
}

// Rest puts the column into hydrostatic equilibrium with a suction of floorCM at
// the floor; 0 is container capacity.
func (c *Column) Rest(floorCM float64) {
	for i := range c.u {
		h := floorCM + c.height - (float64(i)+0.5)*c.dz
		c.SetSuction(i, h)
	}
}

// SetSuction puts cell i to a suction in cm. It creates or removes water and is
// for starting states only.
func (c *Column) SetSuction(i int, suctionCM float64) {
	c.u[i] = clampU(uOf(suctionCM))
	s := c.soil.at(c.u[i])
	c.w[i], c.h[i] = s.theta, s.h
	c.moves.restart(c.w, c.vol, c.pond)
}

// Cells is the number of cells.
func (c *Column) Cells() int { return c.n }

// HeightCM is the depth of mix.
func (c *Column) HeightCM() float64 { return c.height }

// Suction is cell i's suction in cm.
func (c *Column) Suction(i int) float64 { h, _ := suctionOf(c.u[i]); return h }

// Water is cell i's water fraction.
func (c *Column) Water(i int) float64 { return c.w[i] }

// WaterAt is the water fraction depthCM under the surface, linear between cell
// centres and held beyond the outermost.
func (c *Column) WaterAt(depthCM float64) float64 {
	return interpolate(c.w, depthCM/c.dz-0.5)
}

func interpolate(v []float64, x float64) float64 {
	if !(x > 0) {
		return v[0]
	}
	i := int(x)
	if i >= len(v)-1 {
		return v[len(v)-1]
	}
	f := x - float64(i)
	return v[i] + f*(v[i+1]-v[i])
}

// Mean is the mean water fraction over the volume, ponded water not counted.
func (c *Column) Mean() float64 {
	var sum float64
	for i, w := range c.w {
		sum += w * c.vol[i]
	}
	return sum / c.height
}

// Stored is all water in cm over the mean area, ponded water included.
func (c *Column) Stored() float64 {
	sum := c.pond
	for i, w := range c.w {
		sum += w * c.vol[i]
	}
	return sum
}

// Pond is the water standing on the mix, cm over the mean area.
func (c *Column) Pond() float64 { return c.pond }

// Totals returns the cumulative volumes.
func (c *Column) Totals() Totals { return c.t }

// Busy reports whether water moved so fast in the last step that the next should
// be short.
func (c *Column) Busy() bool { return c.busy }

// DrainRate is the flux through the floor at the end of the last step, cm/h.
func (c *Column) DrainRate() float64 { return c.q[c.n] }

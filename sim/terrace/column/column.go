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
	// Response to dryness, made once by Soil.Respond; nil means DefaultRoots.
	Response *Response
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
	roots  *Response

	// layers from the top down, and the face above the first.
	layers  []layer
	top     face
	scratch []float64

	moves transport
	dtTry float64
	t     Totals
	busy  bool
	// overdrawn tells that the last iteration's fluxes would leave a cell with less
	// water than least, or more than most.
	overdrawn   bool
	least, most float64
	// Sums of the sinks, cm/h.
	uptakeSum, evapSum float64
}

// layer is a cell and the face under it, side by side so that the solver walks
// one piece of memory.
type layer struct {
	// u is the transformed suction, w the water fraction as the fluxes moved it
	// (the truth), h the suction in cm, vol the volume over the mean area, sink
	// what roots and evaporation take, cm/h.
	// next is the w that an iteration's fluxes would make of it.
	u, w, next, h, vol, invVol, sink float64
	// cp and dp carry the elimination.
	cp, dp float64
	// The face under the cell.
	face
	uOld, uptake, evap, root float64
}

// face is a boundary between cells: its area over the mean area, the flux
// through it and the flux's slopes by u of the cell above and below, and the
// volume passed since the solutes were last moved.
type face struct{ af, q, qa, qb, passed float64 }

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
	c.least, c.most = c.soil.ret.ThetaR-mostOverdrawn, c.soil.ret.ThetaS+5*mostOverdrawn
	c.layers, c.scratch = make([]layer, n), make([]float64, n)
	c.shape(db, dt)
	if c.roots = cfg.Response; c.roots == nil {
		c.roots = cfg.Soil.Respond(Roots{})
	}
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
	areaAt := func(depth float64) float64 { d := diameter(depth); return d * d / mean }
	c.top.af = areaAt(0)
	for i := range c.layers {
		l := &c.layers[i]
		a, b := diameter(float64(i)*c.dz), diameter(float64(i+1)*c.dz)
		l.af = areaAt(float64(i+1) * c.dz)
		l.vol = c.dz * (a*a + a*b + b*b) / 3 / mean
		l.invVol = 1 / l.vol
	}
}

// Rest puts the column into hydrostatic equilibrium with a suction of floorCM at
// the floor; 0 is container capacity.
func (c *Column) Rest(floorCM float64) {
	for i := range c.layers {
		h := floorCM + c.height - (float64(i)+0.5)*c.dz
		c.SetSuction(i, h)
	}
}

// SetSuction puts cell i to a suction in cm. It creates or removes water and is
// for starting states only.
func (c *Column) SetSuction(i int, suctionCM float64) {
	l := &c.layers[i]
	l.u = clampU(uOf(suctionCM))
	s := c.soil.at(l.u)
	l.w, l.h = s.theta, s.h
	c.moves.restart(c.layers, c.pond)
}

// Cells is the number of cells.
func (c *Column) Cells() int { return c.n }

// HeightCM is the depth of mix.
func (c *Column) HeightCM() float64 { return c.height }

// Suction is cell i's suction in cm.
func (c *Column) Suction(i int) float64 { h, _ := suctionOf(c.layers[i].u); return h }

// Water is cell i's water fraction.
func (c *Column) Water(i int) float64 { return c.layers[i].w }

// WaterAt is the water fraction depthCM under the surface, linear between cell
// centres and held beyond the outermost.
func (c *Column) WaterAt(depthCM float64) float64 {
	x := depthCM/c.dz - 0.5
	if !(x > 0) {
		return c.layers[0].w
	}
	if x >= float64(c.n-1) {
		return c.layers[c.n-1].w
	}
	i := int(x)
	a, b := c.layers[i].w, c.layers[i+1].w
	return a + (x-float64(i))*(b-a)
}

// Mean is the mean water fraction over the volume, ponded water not counted.
func (c *Column) Mean() float64 {
	var sum float64
	for i := range c.layers {
		sum += c.layers[i].w * c.layers[i].vol
	}
	return sum / c.height
}

// Stored is all water in cm over the mean area, ponded water included.
func (c *Column) Stored() float64 {
	sum := c.pond
	for i := range c.layers {
		sum += c.layers[i].w * c.layers[i].vol
	}
	return sum
}

// Pond is the water standing on the mix, cm over the mean area.
func (c *Column) Pond() float64 { return c.pond }

// In is Totals' In alone.
func (c *Column) In() float64 { return c.t.In }

// Totals returns the cumulative volumes.
func (c *Column) Totals() Totals { return c.t }

// Busy reports whether water moved so fast in the last step that the next should
// be short.
func (c *Column) Busy() bool { return c.busy }

// DrainRate is the flux through the floor at the end of the last step, cm/h.
func (c *Column) DrainRate() float64 { return c.layers[c.n-1].q }

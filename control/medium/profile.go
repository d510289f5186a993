package medium

import (
	"fmt"
	"math"
	"slices"

	"fabricpot/control/garden"
)

// Profile turns what a probe reads at its own height into the mean of the pot,
// and back. It is a precomputed monotone table, safe for concurrent use, and
// neither direction allocates.
//
// One suction offset fits the whole hydrostatic profile: the reading gives the
// suction at the probe, the probe's height gives the offset, the offset the
// mean.
type Profile struct {
	// What ZoneMean asks for, side by side.
	dryProbe, wetProbe    float64
	dryMean, wetMean      float64
	probeShift, meanShift float64
	toMean, toProbe       cubic

	residual, porosity   float64
	atCapacity, capacity float64
	probeHeightCM        float64
}

// Knots of the table are suctions at the probe: logarithmic between these, cm, and
// even ones besides over twice the pot's height, where the mean bends as layers
// come out of saturation.
const (
	knots         = 160
	evenKnots     = 100
	firstKnotCM   = 0.02
	lastKnotCM    = 1e6
	smallestStep  = 1e-9 // of water fraction; nearer knots are one
	saturatedNear = 1e-6 // a reading this close to saturation says no offset
)

// NewProfile makes the table for a probe whose sensing middle is probeHeightCM
// above the floor of a pot. It refuses a bad shape, and a probe under the floor
// or over the surface.
func NewProfile(c Curve, s garden.Shape, probeHeightCM float64) (*Profile, error) {
	if err := CheckShape(s); err != nil {
		return nil, err
	}
	if !garden.Finite(probeHeightCM) || probeHeightCM < 0 || probeHeightCM > s.HeightCM {
		return nil, fmt.Errorf("medium: probe is %v cm above the floor of a pot with %v cm of mix, expected 0..%v",
			probeHeightCM, s.HeightCM, s.HeightCM)
	}
	q := newRule()
	var atProbe, mean []float64
	add := func(p, m float64) {
		if n := len(atProbe); n > 0 && (p-atProbe[n-1] < smallestStep || m-mean[n-1] < smallestStep) {
			return
		}
		atProbe, mean = append(atProbe, p), append(mean, m)
	}
	// From dry to wet, so that both columns rise.
	add(c.Residual(), c.Residual())
	ratio := math.Log(lastKnotCM / firstKnotCM)
	at := make([]float64, 0, knots+evenKnots)
	for i := range knots {
		at = append(at, firstKnotCM*math.Exp(ratio*float64(i)/(knots-1)))
	}
	for i := range evenKnots {
		at = append(at, 2*s.HeightCM*float64(i+1)/evenKnots)
	}
	slices.Sort(at)
	for _, over := range slices.Backward(at) {
		h := c.entry() + over
		add(c.Theta(h), q.mean(c, s, h-probeHeightCM))
	}
	// The wet end is exact: replace a last knot that came too close to it.
	wetP, wetM := c.Porosity(), q.mean(c, s, c.entry()-probeHeightCM)
	for n := len(atProbe); n > 1 && (wetP-atProbe[n-1] < smallestStep || wetM-mean[n-1] < smallestStep); n = len(atProbe) {
		atProbe, mean = atProbe[:n-1], mean[:n-1]
	}
	atProbe, mean = append(atProbe, wetP), append(mean, wetM)
	if len(atProbe) < 4 {
		return nil, fmt.Errorf("medium: the mix's water hardly changes with suction (theta-r %v, theta-s %v): a probe can't tell the pot's mean", c.Residual(), c.Porosity())
	}
	n := len(atProbe) - 1
	p := &Profile{
		dryProbe: atProbe[0], wetProbe: atProbe[n], dryMean: mean[0], wetMean: mean[n],
		residual: c.Residual(), porosity: c.Porosity(),
		atCapacity: c.Theta(probeHeightCM), capacity: q.mean(c, s, 0),
		probeHeightCM: probeHeightCM,
	}
	if err := p.toMean.fit(atProbe, mean); err != nil {
		return nil, fmt.Errorf("medium: profile: %w", err)
	}
	if err := p.toProbe.fit(mean, atProbe); err != nil {
		return nil, fmt.Errorf("medium: profile: %w", err)
	}
	return p, nil
}

// ZoneMean is the mean water fraction of the pot for a reading at the probe.
// sat is true where the probe stands in saturated mix: then nothing is known
// about how far the water stands above it, and mean is the least it can be.
// A reading under θr counts as θr. NaN gives NaN.
func (p *Profile) ZoneMean(atProbe garden.WaterFraction) (mean garden.WaterFraction, sat bool) {
	x := float64(atProbe) + p.probeShift
	switch {
	case math.IsNaN(x):
		return atProbe, false
	case x <= p.dryProbe:
		mean = garden.WaterFraction(p.dryMean)
	case x >= p.wetProbe-saturatedNear:
		mean, sat = garden.WaterFraction(p.wetMean), true
	default:
		mean = garden.WaterFraction(p.toMean.at(x))
	}
	return garden.WaterFraction(garden.Share(float64(mean) + p.meanShift)), sat
}

// AtProbe is what a perfect probe at its height reads when the pot's mean is
// mean: the inverse of ZoneMean, clamped to θr..θs.
func (p *Profile) AtProbe(mean garden.WaterFraction) garden.WaterFraction {
	y := float64(mean) - p.meanShift
	var x float64
	switch {
	case math.IsNaN(y):
		return mean
	case y <= p.dryMean:
		x = p.dryProbe
	case y >= p.wetMean:
		x = p.wetProbe
	default:
		x = p.toProbe.at(y)
	}
	return garden.WaterFraction(min(max(x-p.probeShift, 0), 1))
}

// AtCapacity is what a perfect probe reads in the drained pot.
func (p *Profile) AtCapacity() garden.WaterFraction {
	return garden.WaterFraction(p.atCapacity - p.probeShift)
}

// Capacity is the pot's mean when drained.
func (p *Profile) Capacity() garden.WaterFraction {
	return garden.WaterFraction(p.capacity + p.meanShift)
}

// Anchored returns the profile moved so that what the probe was seen to read in
// the drained pot means capacity, whatever the curve says: the shape of the
// curve is kept, its place is the gardener's. It refuses values outside 0..1.
func (p *Profile) Anchored(drainedReading, capacity garden.WaterFraction) (*Profile, error) {
	for _, v := range []garden.WaterFraction{drainedReading, capacity} {
		if !garden.Finite(float64(v)) || v <= 0 || v >= 1 {
			return nil, fmt.Errorf("medium: profile anchor %v is not a water fraction between 0 and 1", v)
		}
	}
	q := *p
	q.probeShift = p.atCapacity - float64(drainedReading)
	q.meanShift = float64(capacity) - p.capacity
	return &q, nil
}

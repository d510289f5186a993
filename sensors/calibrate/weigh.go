package calibrate

import (
	"fmt"

	"fabricpot/control/garden"
)

// Container is the small container that is weighed as it dries.
type Container struct {
	// TareG is the empty container's weight with probe and cable support, g.
	TareG float64
	// DryG is the weight of the mix in it when oven or air dry, without the
	// container, g.
	DryG float64
	// VolumeL is the volume of mix in it, packed to the pot's density, litres.
	VolumeL float64
	// ScaleG is the scale's step, g; 0 means 5 g, a kitchen scale under load.
	ScaleG float64
}

// Weighing is one look at the drying container.
type Weighing struct {
	GrossG float64
	Probe  garden.ProbeID
	Volts  garden.Volts
	TempC  garden.Measured
}

// Check refuses a container that cannot be.
func (c Container) Check() error {
	switch {
	case !(c.VolumeL >= 0.2 && c.VolumeL <= 50):
		return fmt.Errorf("container: %g L of mix, expected 0.2 to 50", c.VolumeL)
	case !(c.TareG >= 0 && c.TareG <= 20_000):
		return fmt.Errorf("container: tare %g g, expected 0 to 20000", c.TareG)
	case !(c.DryG > 0):
		return fmt.Errorf("container: dry mix %g g, expected more than 0", c.DryG)
	case c.DryG > 2500*c.VolumeL:
		return fmt.Errorf("container: %g g of dry mix in %g L, expected at most 2500 g per litre: is the tare still in it?", c.DryG, c.VolumeL)
	case c.ScaleG < 0 || c.ScaleG > 1000 || !garden.Finite(c.ScaleG):
		return fmt.Errorf("container: scale step %g g, expected 0 to 1000", c.ScaleG)
	}
	return nil
}

func (c Container) step() float64 {
	if c.ScaleG == 0 {
		return 5
	}
	return c.ScaleG
}

// Water is the water fraction at a gross weight. A weight under tare and dry mix
// together by more than the scale's step is an error, and so is more water than
// the container has room for.
func (c Container) Water(grossG float64) (garden.WaterFraction, error) {
	if err := c.Check(); err != nil {
		return 0, err
	}
	if !garden.Finite(grossG) {
		return 0, fmt.Errorf("weight %g g, expected a number", grossG)
	}
	if grossG <= c.TareG {
		return 0, fmt.Errorf("weight %g g is not over the tare of %g g: was the empty container weighed with something in it?", grossG, c.TareG)
	}
	waterG := grossG - c.TareG - c.DryG
	if waterG < -c.step() {
		return 0, fmt.Errorf("weight %g g is under tare and dry mix together, %g g: weigh these two again", grossG, c.TareG+c.DryG)
	}
	theta := waterG / 1000 / c.VolumeL
	if theta > 1 {
		return 0, fmt.Errorf("weight %g g means %.2f L of water in %g L of mix: check volume and dry weight", grossG, waterG/1000, c.VolumeL)
	}
	return garden.WaterFraction(max(0, theta)), nil
}

// ByWeight turns weighings, in the order they were taken while the container
// dried, into points. A weight that rises by more than twice the scale's step is
// an error that names the row: water was added, or two rows are swapped.
func ByWeight(c Container, rows []Weighing) ([]Point, error) {
	if err := c.Check(); err != nil {
		return nil, err
	}
	out := make([]Point, 0, len(rows))
	lowest, at := 0.0, 0
	for i, w := range rows {
		theta, err := c.Water(w.GrossG)
		if err != nil {
			return nil, fmt.Errorf("weighing %d: %w", i+1, err)
		}
		if i > 0 && w.GrossG > lowest+2*c.step() {
			return nil, fmt.Errorf("weighing %d: %g g is more than the %g g of weighing %d: a drying container only gets lighter; was it watered, or are rows swapped?", i+1, w.GrossG, lowest, at+1)
		}
		if i == 0 || w.GrossG < lowest {
			lowest, at = w.GrossG, i
		}
		out = append(out, Point{Probe: w.Probe, Volts: w.Volts, Water: theta, TempC: w.TempC})
	}
	return out, nil
}

// Bucket is dry mix into which known water is stirred step by step, packed to
// the pot's density before each reading.
type Bucket struct {
	// MixL is the volume of the mix when packed, litres.
	MixL float64
	// StartL is the water already in it, litres: 0 for oven dry mix. Air-dry
	// peat holds 0.03 to 0.06 of its volume (common practice, no source).
	StartL float64
}

// Pour is one step: water added since the step before, and the reading after.
type Pour struct {
	AddedL float64
	Probe  garden.ProbeID
	Volts  garden.Volts
	TempC  garden.Measured
}

// Points turns the steps into points.
func (b Bucket) Points(pours []Pour) ([]Point, error) {
	if !(b.MixL >= 0.2 && b.MixL <= 200) {
		return nil, fmt.Errorf("bucket: %g L of mix, expected 0.2 to 200", b.MixL)
	}
	if !(b.StartL >= 0 && b.StartL < b.MixL) {
		return nil, fmt.Errorf("bucket: %g L of water at the start, expected 0 to less than the mix, %g L", b.StartL, b.MixL)
	}
	out := make([]Point, 0, len(pours))
	water := b.StartL
	for i, p := range pours {
		if !(p.AddedL >= 0) || !garden.Finite(p.AddedL) {
			return nil, fmt.Errorf("step %d: %g L added, expected 0 or more", i+1, p.AddedL)
		}
		water += p.AddedL
		if water > b.MixL {
			return nil, fmt.Errorf("step %d: %.2f L of water in %g L of mix: it would stand in water; check the volumes", i+1, water, b.MixL)
		}
		out = append(out, Point{Probe: p.Probe, Volts: p.Volts, Water: garden.WaterFraction(water / b.MixL), TempC: p.TempC})
	}
	return out, nil
}

package calibrate

import (
	"fmt"

	"fabricpot/control/garden"
	"fabricpot/control/medium"
)

// Carried is a capacity measured in a small container, carried over to a pot.
type Carried struct {
	// Small and Pot are what the mix's curve says of each, m³/m³.
	Small, Pot float64
	// Factor is how much more than its curve the mix held in the small
	// container, above residual water.
	Factor float64
	// Capacity is the pot's, m³/m³.
	Capacity garden.WaterFraction
	// Warning is in words, where the curve and the measurement are far apart.
	Warning string
}

// CarryCapacity takes the water a drained small container held to the height of
// a pot: a higher pot of the same mix holds less per litre, because its upper
// part drains further. The retention curve gives the ratio, the measurement the
// level: θr + (measured - θr)/(small - θr)·(pot - θr). Measured must lie over
// residual water and not over the porosity.
func CarryCapacity(measured garden.WaterFraction, c medium.Curve, small, pot garden.Shape) (Carried, error) {
	var out Carried
	m, r := float64(measured), c.Residual()
	if !(m > r && m <= 1) {
		return out, fmt.Errorf("calibrate: a drained container with water %.3f, expected over residual water, %.3f, and at most 1", m, r)
	}
	var err error
	if out.Small, err = medium.Capacity(c, small); err != nil {
		return out, fmt.Errorf("calibrate: the small container: %w", err)
	}
	if out.Pot, err = medium.Capacity(c, pot); err != nil {
		return out, fmt.Errorf("calibrate: the pot: %w", err)
	}
	out.Factor = (m - r) / (out.Small - r)
	capacity := r + out.Factor*(out.Pot-r)
	if capacity > 1 {
		return out, fmt.Errorf("calibrate: the pot's capacity comes to %.2f m³/m³: check volume and weights of the small container", capacity)
	}
	out.Capacity = garden.WaterFraction(capacity)
	if out.Factor < 0.75 || out.Factor > 1.33 {
		out.Warning = fmt.Sprintf("the small container held %.0f %% of what the mix's curve says: the curve may belong to another mix", 100*out.Factor)
	}
	return out, nil
}

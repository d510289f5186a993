package medium

import (
	"fmt"

	"fabricpot/control/garden"
)

// Water is what a zone's mix can hold and give, fractions of its volume.
type Water struct {
	// Porosity is θs.
	Porosity float64
	// Capacity is container capacity, LowerLimit the practical lower limit.
	Capacity, LowerLimit float64
	// CapacityMeasured and LowerLimitMeasured tell that the gardener's own
	// figure stands there and not the curve's.
	CapacityMeasured, LowerLimitMeasured bool
	// AirSpace is Porosity − Capacity.
	AirSpace float64
}

// Available is the water between capacity and the lower limit, m³/m³.
func (w Water) Available() float64 { return w.Capacity - w.LowerLimit }

// Airless reports an air space under MinAirSpace when drained: roots in such a
// pot suffocate after every watering.
func (w Water) Airless() bool { return w.AirSpace < MinAirSpace }

// Resolve says what a pot of the mix holds. Capacity and LowerLimit that the
// gardener measured always win over the curve. It fails on a shape CheckShape
// refuses, and where the limit is not under the capacity.
func Resolve(c Curve, s garden.Shape, capacity, lowerLimit garden.Measured) (Water, error) {
	cc, err := Capacity(c, s)
	if err != nil {
		return Water{}, err
	}
	w := Water{
		Porosity: c.Porosity(), Capacity: capacity.Or(cc), LowerLimit: lowerLimit.Or(LowerLimit(c)),
		CapacityMeasured: capacity.Known, LowerLimitMeasured: lowerLimit.Known,
	}
	w.AirSpace = w.Porosity - w.Capacity
	if w.Capacity <= 0 || w.Capacity > 1 || w.LowerLimit < 0 {
		return Water{}, fmt.Errorf("medium: capacity %.3f and lower limit %.3f are no water fractions", w.Capacity, w.LowerLimit)
	}
	if w.LowerLimit >= w.Capacity {
		return Water{}, fmt.Errorf("medium: lower limit %.3f is not under the capacity %.3f: measure both again, or leave one out", w.LowerLimit, w.Capacity)
	}
	return w, nil
}

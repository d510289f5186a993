package medium

import (
	"fmt"
	"slices"

	"gonum.org/v1/gonum/integrate/quad"

	"fabricpot/control/garden"
)

// Suctions at which mixes are judged, cm. De Boodt and Verdonck 1972, Acta
// Hort. 26:37-44 (from memory).
const (
	airSuctionCM   = 10
	easySuctionCM  = 50
	limitSuctionCM = 100
)

// MinAirSpace is the air-filled share of volume below which roots lack air
// (UC ANR, "Soil Mixes Part 3: How much air and water?").
const MinAirSpace = 0.10

// Suctions between which plants in soilless mixes begin to feel thirst, cm.
// From memory; growth falls long before the wilting point of −1.5 MPa.
const (
	StressFromCM = 60
	StressToCM   = 100
)

// CheckShape refuses a shape that holds nothing or is not finite.
func CheckShape(s garden.Shape) error {
	for _, d := range []struct {
		name  string
		value float64
	}{{"height", s.HeightCM}, {"bottom diameter", s.BottomDiameterCM}, {"top diameter", s.TopDiameterCM}} {
		if !garden.Finite(d.value) || d.value <= 0 || d.value > 1000 {
			return fmt.Errorf("medium: pot %s is %v cm, expected over 0 and at most 1000", d.name, d.value)
		}
	}
	return nil
}

// Capacity is container capacity, m³/m³: the water a pot keeps after it has
// drained freely, (1/V)∫A(z)θ(z)dz over its height with suction = height above
// the floor (Milks, Fonteno and Larson 1989). It fails on a shape that
// CheckShape refuses.
func Capacity(c Curve, s garden.Shape) (float64, error) {
	if err := CheckShape(s); err != nil {
		return 0, err
	}
	return MeanAt(c, s, 0), nil
}

// AirSpace is the air-filled share of volume at container capacity, porosity −
// capacity, m³/m³.
func AirSpace(c Curve, s garden.Shape) (float64, error) {
	cc, err := Capacity(c, s)
	if err != nil {
		return 0, err
	}
	return c.Porosity() - cc, nil
}

// MeanAt is the mean water fraction of a pot whose profile is the drained one
// shifted by offsetCM: suction(z) = max(0, z+offset). Offset 0 is container
// capacity, a positive one drier, a negative one wetter (saturated up to
// -offset). The shape must have passed CheckShape.
func MeanAt(c Curve, s garden.Shape, offsetCM float64) float64 {
	return newRule().mean(c, s, offsetCM)
}

// rule is a Gauss-Legendre rule on 0..1.
type rule struct{ x, w [panelPoints]float64 }

const panelPoints = 10

func newRule() *rule {
	var r rule
	quad.Legendre{}.FixedLocations(r.x[:], r.w[:], 0, 1)
	return &r
}

// mean is MeanAt by this rule, for callers that need many means.
func (r *rule) mean(c Curve, s garden.Shape, offsetCM float64) float64 {
	var volume, sum float64
	edges := panels(s.HeightCM, -offsetCM, c.entry()-offsetCM)
	for i := 1; i < len(edges); i++ {
		from, width := edges[i-1], edges[i]-edges[i-1]
		for j, x := range r.x {
			z := from + width*x
			d := s.BottomDiameterCM + (s.TopDiameterCM-s.BottomDiameterCM)*z/s.HeightCM
			disc := width * r.w[j] * d * d
			volume += disc
			sum += disc * c.Theta(z+offsetCM)
		}
	}
	return sum / volume
}

// panels cuts 0..height so that Gauss-Legendre meets a smooth function in each
// piece: at the kinks, and ever finer towards them, since a van Genuchten curve
// leaves saturation like hⁿ, which no polynomial follows there. Kinks further
// from the pot than its own height do not matter.
func panels(height float64, kinks ...float64) []float64 {
	edges := make([]float64, 0, 24)
	edges = append(edges, 0, height/2, height)
	for _, k := range kinks {
		if k < -height || k > 2*height {
			continue
		}
		k = min(max(k, 0), height)
		edges = append(edges, k)
		for d := height; d > height/1000; d /= 3 {
			edges = append(edges, min(k+d, height))
		}
	}
	slices.Sort(edges)
	return slices.Compact(edges)
}

// LowerLimit is the practical lower limit of available water, θ at 100 cm of
// suction, m³/m³. Soilless mixes hold more than that at wilting, but growth has
// long stopped there.
func LowerLimit(c Curve) float64 { return c.Theta(limitSuctionCM) }

// AirAt10 is the air volume at 10 cm of suction, θs−θ(10), m³/m³; De Boodt and
// Verdonck's band is 0.20..0.30 (from memory).
func AirAt10(c Curve) float64 { return c.Porosity() - c.Theta(airSuctionCM) }

// EAW is easily available water, θ(10)−θ(50), m³/m³; De Boodt and Verdonck's
// band is 0.20..0.30 (from memory).
func EAW(c Curve) float64 { return c.Theta(airSuctionCM) - c.Theta(easySuctionCM) }

// WBC is water buffering capacity, θ(50)−θ(100), m³/m³; De Boodt and Verdonck's
// band is 0.04..0.10 (from memory).
func WBC(c Curve) float64 { return c.Theta(easySuctionCM) - c.Theta(limitSuctionCM) }

// Package permittivity turns the permittivity that a probe reports into water
// fraction by published equations.
//
// It is for probes that measure permittivity ε (relative, no unit). A cheap
// analogue probe gives volts and no permittivity: calibrate that in the mix
// itself, which is better than any equation here too.
//
// Topp's equation was made for mineral soil. Five independent equations for peat
// and forest floor lie 0.05 to 0.17 above it at ε = 20: in a peat mix Topp reads
// 5 to 17 points of water too low. da Silva, Wallach, Polak and Chen 1998 (J.
// ASHS 123:734-737) say the same of soilless mixes (from memory).
//
// Where a comment says "read", the coefficients were seen in an open package of
// peat calibrations that cites the paper's table; "from memory" means unseen.
package permittivity

import (
	"fmt"
	"math"

	"fabricpot/control/garden"
)

// Bounds of what may be asked.
const (
	// MinEps is air; MaxEps is water at 0 °C, 88, and a little.
	MinEps, MaxEps = 1.0, 90.0
	// MaxDensity bounds a dry bulk density, g/cm³.
	MaxDensity = 2.0
)

// Equation is a published equation from permittivity to water.
type Equation struct {
	// Name is how it is asked for.
	Name string
	// For is the material it was made in, Source who published it and how sure
	// the coefficients are.
	For, Source string
	// Organic tells that it was made in peat or other organic material.
	Organic bool
	// FromEps and ToEps bound where it may be used.
	FromEps, ToEps float64
	// NeedsDensity tells that it asks for the dry bulk density.
	NeedsDensity bool
	// Caution is what a person should know; may be empty.
	Caution string
	water   func(eps, density float64) float64
}

// lowInPeat is the caution that belongs with equations from mineral soil.
const lowInPeat = "reads 5 to 17 points of water too low in peat and other organic mixes"

// Equations lists them in the order of their age.
func Equations() []Equation {
	return []Equation{
		{
			Name: "topp", For: "mineral soil", FromEps: 3, ToEps: 80, Caution: lowInPeat,
			Source: "Topp, Davis and Annan 1980, Water Resour. Res. 16:574-582; read",
			water:  cubic(-5.3e-2, 2.92e-2, -5.5e-4, 4.3e-6),
		}, {
			Name: "ledieu", For: "mineral soil", FromEps: 3, ToEps: 80, Caution: lowInPeat,
			Source: "Ledieu, De Ridder, De Clerck and Dautrebande 1986, J. Hydrol. 88:319-328; from memory",
			water:  func(eps, _ float64) float64 { return 0.1138*math.Sqrt(eps) - 0.1758 },
		}, {
			Name: "roth-mineral", For: "mineral soil", FromEps: 3, ToEps: 30, Caution: lowInPeat,
			Source: "Roth, Malicki and Plagge 1992, J. Soil Sci. 43:1-13; from memory",
			water:  cubic(-0.0728, 0.0448, -1.95e-3, 3.61e-5),
		}, {
			Name: "roth", For: "organic soil", Organic: true, FromEps: 3, ToEps: 80,
			Source: "Roth, Malicki and Plagge 1992, J. Soil Sci. 43:1-13, Table 3c; read",
			water:  cubic(-0.0233, 0.0285, -4.31e-4, 3.04e-6),
		}, {
			Name: "pepin", For: "bog peat", Organic: true, FromEps: 3, ToEps: 80,
			// The place it was read in adds the square term, which makes water
			// of ε = 60 hold 1.58 of its volume; the minus is from memory.
			Source: "Pepin, Plamondon and Stein 1992, Can. J. For. Res. 22:534-540, Table 2 pooled; read, but for the sign of its last term",
			water:  cubic(0.085, 1.92e-2, -0.95e-4, 0),
		}, {
			Name: "myllys", For: "cultivated peat", Organic: true, FromEps: 3, ToEps: 80,
			Source: "Myllys and Simojoki 1996, Table 2 pooled; read",
			water:  cubic(-0.0733, 0.0417, -8.01e-4, 5.56e-6),
		}, {
			Name: "malicki", For: "soil, peat and other porous media by their density", Organic: true, FromEps: 3, ToEps: 80, NeedsDensity: true,
			Source: "Malicki, Plagge and Roth 1996, Eur. J. Soil Sci. 47:357-366, eq. 10; read",
			water: func(eps, rho float64) float64 {
				return (math.Sqrt(eps) - 0.819 - 0.168*rho - 0.159*rho*rho) / (7.17 + 1.18*rho)
			},
		}, {
			Name: "schaap", For: "forest floor", Organic: true, FromEps: 3, ToEps: 80,
			Source: "Schaap, de Lange and Heimovaara 1996, Soil Technol. 11:205-217; from memory",
			water:  func(eps, _ float64) float64 { return math.Pow(max(0.133*math.Sqrt(eps)-0.146, 0), 0.885) },
		}, {
			Name: "kellner", For: "bog peat", Organic: true, FromEps: 3, ToEps: 80,
			Source: "Kellner and Lundin 2001, Nord. Hydrol. 32:315-332, Table 2 pooled; read",
			water:  cubic(0.039, 0.0317, -4.5e-4, 2.6e-6),
		},
	}
}

// Lookup finds an equation by its name.
func Lookup(name string) (Equation, bool) {
	for _, e := range Equations() {
		if e.Name == name {
			return e, true
		}
	}
	return Equation{}, false
}

// Names lists the equations' names in their order.
func Names() []string {
	var out []string
	for _, e := range Equations() {
		out = append(out, e.Name)
	}
	return out
}

// Water is the water fraction at a permittivity, held within 0..1. Density is the
// mix's dry bulk density in g/cm³ (peat mixes have 0.09 to 0.16), which only some
// equations ask for. It refuses a permittivity outside the equation's range, a
// density that is missing or absurd, and anything not finite.
func (e Equation) Water(eps float64, density garden.Measured) (garden.WaterFraction, error) {
	if e.water == nil {
		return 0, fmt.Errorf("permittivity: no equation")
	}
	if err := CheckEps(eps); err != nil {
		return 0, err
	}
	if eps < e.FromEps || eps > e.ToEps {
		return 0, fmt.Errorf("permittivity: %v is outside the %v to %v that the equation %s was made for", eps, e.FromEps, e.ToEps, e.Name)
	}
	if e.NeedsDensity {
		if !density.Known {
			return 0, fmt.Errorf("permittivity: the equation %s needs the mix's dry bulk density in g/cm³ (peat mixes have 0.09 to 0.16)", e.Name)
		}
		if !garden.Finite(density.Value) || density.Value <= 0 || density.Value > MaxDensity {
			return 0, fmt.Errorf("permittivity: bulk density is %v g/cm³, expected over 0 and at most %v", density.Value, MaxDensity)
		}
	}
	return garden.WaterFraction(min(max(e.water(eps, density.Value), 0), 1)), nil
}

// CheckEps refuses a permittivity that no mix can have.
func CheckEps(eps float64) error {
	if !garden.Finite(eps) || eps < MinEps || eps > MaxEps {
		return fmt.Errorf("permittivity: %v is no relative permittivity of a mix, expected %v (air) to %v (water)", eps, MinEps, MaxEps)
	}
	return nil
}

func cubic(a, b, c, d float64) func(eps, density float64) float64 {
	return func(eps, _ float64) float64 { return a + eps*(b+eps*(c+eps*d)) }
}

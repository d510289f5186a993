package column

import (
	"fmt"
	"math"

	"fabricpot/control/garden"
)

const (
	// nodes is a power of two so that an index can be masked and the compiler
	// drop its bounds check.
	nodes    = 1024
	nodeMask = nodes - 1
	// The table has perV nodes per unit of v, h = v + v·|v|³, and begins at vMin.
	// A cell's unknown u counts nodes: u = (v - vMin)·perV.
	perV = 60.0
	vMin = -3.5
	// A state keeps one node away from either end.
	uLow, uTop = 1, nodes - 3
	// uZero is where suction is zero.
	uZero = -vMin * perV
	// specificStorage keeps the equations solvable under pressure, 1/cm.
	specificStorage = 1e-6
	// DefaultKsCMH stands in where a mix names no saturated conductivity, cm/h.
	// Illustrative: mixes for pots run from some ten to some hundreds.
	DefaultKsCMH = 30
)

// corner is how sharp air entry is in a Brooks–Corey curve; infinite would be
// the formula to the letter.
const corner = 16

// node is one row of the table over u: water fraction, g = K·dh/du, matric flux
// potential Φ = ∫K dh from h to dry (cm²/h), and the steps of the first two to
// the next row. dΦ/du = -g.
type node struct{ theta, dTheta, g, dg, phi float64 }

// Soil is a mix's retention and conductivity, tabulated once. It is immutable
// and may be shared by any number of columns.
type Soil struct {
	tab    [nodes]node
	ret    garden.Retention
	ks     float64
	phiSat float64
}

// suctionOf returns h(u) in cm and dh/du.
func suctionOf(u float64) (h, slope float64) {
	v := u*(1/perV) + vMin
	c := v * v * math.Abs(v)
	return v + v*c, (1 + 4*c) * (1 / perV)
}

// suctionCurve returns d²h/du² = 12·v·|v|/perV².
func suctionCurve(u float64) float64 {
	v := u*(1/perV) + vMin
	return v * math.Abs(v) * (12 / (perV * perV))
}

// size is the absolute value of a number that is no -0. A comparison leaves it in
// its register; math.Abs takes it to another and back, for which the solver waits.
func size(v float64) float64 {
	if v < 0 {
		return -v
	}
	return v
}

// uOf inverts suctionOf.
func uOf(h float64) float64 {
	a := math.Abs(h)
	v := min(a, math.Sqrt(math.Sqrt(a)))
	for range 60 {
		c := v * v * v
		step := (v + v*c - a) / (1 + 4*c)
		v -= step
		if math.Abs(step) < 1e-15*(1+v) {
			break
		}
	}
	return (math.Copysign(v, h) - vMin) * perV
}

// MaxSuctionCM is the driest state the tables reach.
func MaxSuctionCM() float64 { h, _ := suctionOf(uTop); return h }

// NewSoil tabulates a retention curve with its conductivity: van
// Genuchten–Mualem (van Genuchten 1980, l = 0.5), Brooks–Corey with Mualem's
// exponent, or Gardner's exponential K = Ks·exp(-αh). A Ks of zero means
// DefaultKsCMH.
func NewSoil(r garden.Retention) (*Soil, error) {
	if err := checkRetention(r); err != nil {
		return nil, err
	}
	s := &Soil{ret: r, ks: r.KsCMH}
	if s.ks == 0 {
		s.ks = DefaultKsCMH
	}
	for j := range s.tab {
		h, slope := suctionOf(float64(j))
		s.tab[j].theta = s.exactTheta(h)
		s.tab[j].g = s.exactK(h) * slope
		// Where the curve has run out flat, a hair of slope keeps it invertible.
		if j > 0 {
			s.tab[j].theta = min(s.tab[j].theta, s.tab[j-1].theta-1e-10)
		}
	}
	// Φ is the integral of the interpolated g, so that both agree exactly.
	for j := nodes - 2; j >= 0; j-- {
		a, b := &s.tab[j], &s.tab[j+1]
		a.dTheta, a.dg = b.theta-a.theta, b.g-a.g
		a.phi = b.phi + (a.g+b.g)/2
	}
	s.phiSat = s.at(uZero).phi
	return s, nil
}

func checkRetention(r garden.Retention) error {
	bad := func(what string, v float64, want string) error {
		return fmt.Errorf("column: %s is %v, expected %s: correct the mix's retention", what, v, want)
	}
	switch {
	case !garden.Finite(r.ThetaR) || r.ThetaR < 0:
		return bad("theta_r", r.ThetaR, "0 or more")
	case !garden.Finite(r.ThetaS) || r.ThetaS <= r.ThetaR || r.ThetaS > 1:
		return bad("theta_s", r.ThetaS, "over theta_r and at most 1")
	case !garden.Finite(r.KsCMH) || r.KsCMH < 0:
		return bad("saturated conductivity in cm/h", r.KsCMH, "0 (default) or more")
	}
	switch r.Model {
	case garden.VanGenuchten:
		if !garden.Finite(r.N) || r.N <= 1 {
			return bad("n", r.N, "over 1")
		}
		fallthrough
	case garden.Exponential:
		if !garden.Finite(r.AlphaPerCM) || r.AlphaPerCM <= 0 {
			return bad("alpha per cm", r.AlphaPerCM, "over 0")
		}
	case garden.BrooksCorey:
		if !garden.Finite(r.HbCM) || r.HbCM <= 0 {
			return bad("air entry suction in cm", r.HbCM, "over 0")
		}
		if !garden.Finite(r.Lambda) || r.Lambda <= 0 {
			return bad("lambda", r.Lambda, "over 0")
		}
	default:
		return fmt.Errorf("column: retention model %q, expected %q, %q or %q",
			r.Model, garden.VanGenuchten, garden.BrooksCorey, garden.Exponential)
	}
	return nil
}

// saturation is the effective saturation at suction h, 0..1.
func (s *Soil) saturation(h float64) float64 {
	if h <= 0 {
		return 1
	}
	switch s.ret.Model {
	case garden.VanGenuchten:
		return math.Pow(1+math.Pow(s.ret.AlphaPerCM*h, s.ret.N), 1/s.ret.N-1)
	case garden.BrooksCorey:
		// The corner at air entry is rounded over some tenths of it (no mix has
		// a sharp one, and Newton's iteration would circle about it).
		return math.Pow(1+math.Pow(min(h, 1e6*s.ret.HbCM)/s.ret.HbCM, corner), -s.ret.Lambda/corner)
	}
	return math.Exp(-s.ret.AlphaPerCM * h)
}

func (s *Soil) exactTheta(h float64) float64 {
	if h <= 0 {
		return s.ret.ThetaS - specificStorage*h
	}
	return s.ret.ThetaR + (s.ret.ThetaS-s.ret.ThetaR)*s.saturation(h)
}

func (s *Soil) exactK(h float64) float64 {
	if h <= 0 {
		return s.ks
	}
	se := s.saturation(h)
	switch s.ret.Model {
	case garden.VanGenuchten:
		x := math.Pow(s.ret.AlphaPerCM*h, s.ret.N)
		m := 1 - 1/s.ret.N
		// 1-(1-Se^(1/m))^m without losing digits in the dry end, where
		// Se^(1/m) = 1/(1+x).
		b := -math.Expm1(m * (math.Log(x) - math.Log1p(x)))
		return s.ks * math.Sqrt(se) * b * b
	case garden.BrooksCorey:
		return s.ks * math.Pow(se, 2.5+2/s.ret.Lambda)
	}
	return s.ks * se
}

// state is a soil's state at one u.
type state struct{ theta, c, phi, g, gSlope, h, hSlope float64 }

// at interpolates the table at u: θ and g linearly, Φ as g's integral.
func (s *Soil) at(u float64) state {
	j := int(u)
	t := u - float64(j)
	r := &s.tab[j&nodeMask]
	g := r.g + t*r.dg
	h, hs := suctionOf(u)
	return state{
		theta: r.theta + t*r.dTheta, c: r.dTheta,
		phi: r.phi - t*(r.g+g)*0.5, g: g, gSlope: r.dg,
		h: h, hSlope: hs,
	}
}

// Theta returns the water fraction at a suction in cm.
func (s *Soil) Theta(suctionCM float64) float64 {
	return s.at(clampU(uOf(suctionCM))).theta
}

// Conductivity returns K in cm/h at a suction in cm.
func (s *Soil) Conductivity(suctionCM float64) float64 {
	st := s.at(clampU(uOf(suctionCM)))
	return st.g / st.hSlope
}

// Suction returns the suction in cm at which the mix holds theta, 0 at and over
// saturation and MaxSuctionCM where it is drier than the tables.
func (s *Soil) Suction(theta float64) float64 {
	h, _ := suctionOf(s.uAt(theta))
	return max(0, h)
}

// uAt finds u for a water fraction by bisection over the nodes.
func (s *Soil) uAt(theta float64) float64 {
	lo, hi := 0, nodes-1
	if theta >= s.tab[lo].theta {
		return uLow
	}
	if theta <= s.tab[hi].theta {
		return uTop
	}
	for hi-lo > 1 {
		mid := (lo + hi) / 2
		if s.tab[mid].theta >= theta {
			lo = mid
		} else {
			hi = mid
		}
	}
	a, b := s.tab[lo].theta, s.tab[hi].theta
	return clampU(float64(lo) + (a-theta)/(a-b))
}

// Porosity is the water fraction at saturation.
func (s *Soil) Porosity() float64 { return s.ret.ThetaS }

// KsCMH is the saturated conductivity in cm/h.
func (s *Soil) KsCMH() float64 { return s.ks }

func clampU(u float64) float64 { return max(uLow, min(uTop, u)) }

package medium

import (
	"fmt"
	"math"

	"fabricpot/control/garden"
)

// drySuctionCM stands for "as dry as it gets": air-dry is near 1e6 cm.
const drySuctionCM = 1e7

// Curve is a water retention curve θ(h). It is an immutable value; the zero
// Curve holds no water at all.
type Curve struct {
	r garden.Retention
	m float64 // van Genuchten's m = 1 - 1/n
}

// NewCurve checks the parameters and returns their curve:
//
//   - van Genuchten (1980): Se = [1+(αh)ⁿ]^-m, m = 1-1/n
//   - Brooks and Corey (1964): Se = min(1, (hb/h)^λ)
//   - exponential (Gardner-Russo): Se = e^(-αh)
//
// with Se = (θ-θr)/(θs-θr). An empty model means van Genuchten. It refuses
// anything not finite, θr ≥ θs, fractions outside 0..1, n ≤ 1, and α, hb or λ
// that are not positive.
func NewCurve(r garden.Retention) (Curve, error) {
	if r.Model == "" {
		r.Model = garden.VanGenuchten
	}
	for _, p := range []struct {
		name  string
		value float64
	}{
		{"theta-r", r.ThetaR}, {"theta-s", r.ThetaS}, {"alpha", r.AlphaPerCM},
		{"n", r.N}, {"hb", r.HbCM}, {"lambda", r.Lambda}, {"ks", r.KsCMH},
	} {
		if !garden.Finite(p.value) {
			return Curve{}, fmt.Errorf("medium: retention %s is %v, expected a finite number", p.name, p.value)
		}
	}
	if r.ThetaR < 0 || r.ThetaR >= 1 {
		return Curve{}, fmt.Errorf("medium: retention theta-r is %v, expected 0 or more and under 1", r.ThetaR)
	}
	if r.ThetaS <= 0 || r.ThetaS > 1 {
		return Curve{}, fmt.Errorf("medium: retention theta-s is %v, expected over 0 and at most 1", r.ThetaS)
	}
	if r.ThetaR >= r.ThetaS {
		return Curve{}, fmt.Errorf("medium: retention theta-r %v is not under theta-s %v; exchange them if they were swapped", r.ThetaR, r.ThetaS)
	}
	c := Curve{r: r}
	switch r.Model {
	case garden.VanGenuchten:
		if r.AlphaPerCM <= 0 {
			return Curve{}, fmt.Errorf("medium: van Genuchten alpha is %v 1/cm, expected over 0", r.AlphaPerCM)
		}
		if r.N <= 1 {
			return Curve{}, fmt.Errorf("medium: van Genuchten n is %v, expected over 1", r.N)
		}
		c.m = 1 - 1/r.N
	case garden.Exponential:
		if r.AlphaPerCM <= 0 {
			return Curve{}, fmt.Errorf("medium: exponential alpha is %v 1/cm, expected over 0", r.AlphaPerCM)
		}
	case garden.BrooksCorey:
		if r.HbCM <= 0 {
			return Curve{}, fmt.Errorf("medium: Brooks-Corey hb is %v cm, expected over 0", r.HbCM)
		}
		if r.Lambda <= 0 {
			return Curve{}, fmt.Errorf("medium: Brooks-Corey lambda is %v, expected over 0", r.Lambda)
		}
	default:
		return Curve{}, fmt.Errorf("medium: retention model %q is unknown, expected %q, %q or %q",
			r.Model, garden.VanGenuchten, garden.BrooksCorey, garden.Exponential)
	}
	return c, nil
}

// Retention returns the parameters the curve was made from.
func (c Curve) Retention() garden.Retention { return c.r }

// Porosity is θs, the fraction of the mix that water can fill, m³/m³.
func (c Curve) Porosity() float64 { return c.r.ThetaS }

// Residual is θr, m³/m³.
func (c Curve) Residual() float64 { return c.r.ThetaR }

// Theta is the water fraction at a suction in cm, m³/m³. No suction, or a
// positive pressure, is saturation.
func (c Curve) Theta(suctionCM float64) float64 {
	// The sum may round to more than the mix can hold.
	return min(c.r.ThetaS, c.r.ThetaR+(c.r.ThetaS-c.r.ThetaR)*c.saturation(suctionCM))
}

// saturation is Se, 0..1.
func (c Curve) saturation(h float64) float64 {
	if h <= 0 {
		return 1
	}
	switch c.r.Model {
	case garden.VanGenuchten:
		return math.Pow(1+math.Pow(c.r.AlphaPerCM*h, c.r.N), -c.m)
	case garden.Exponential:
		return math.Exp(-c.r.AlphaPerCM * h)
	case garden.BrooksCorey:
		if h <= c.r.HbCM {
			return 1
		}
		return math.Pow(c.r.HbCM/h, c.r.Lambda)
	}
	return 0
}

// Suction is the inverse of Theta, cm, 0 at saturation and above (for Brooks
// and Corey the air entry suction, the driest state that still is saturated)
// and a very large number at θr and below.
func (c Curve) Suction(theta float64) float64 {
	se := (theta - c.r.ThetaR) / (c.r.ThetaS - c.r.ThetaR)
	if !(se > 0) { // also NaN
		return drySuctionCM
	}
	se = min(se, 1)
	h := 0.0
	switch c.r.Model {
	case garden.VanGenuchten:
		h = math.Pow(math.Pow(se, -1/c.m)-1, 1/c.r.N) / c.r.AlphaPerCM
	case garden.Exponential:
		h = -math.Log(se) / c.r.AlphaPerCM
	case garden.BrooksCorey:
		h = c.r.HbCM * math.Pow(se, -1/c.r.Lambda)
	}
	return min(h, drySuctionCM)
}

// entry is the suction up to which the curve is saturated: its only kink.
func (c Curve) entry() float64 {
	if c.r.Model == garden.BrooksCorey {
		return c.r.HbCM
	}
	return 0
}

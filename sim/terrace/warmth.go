package terrace

import (
	"math"

	"fabricpot/control/garden"
)

// warmth is the temperature of a pot's mix: two first-order lags behind air and
// sun, one for the skin and one for the core. The core's time constant is that of
// a cylinder's slowest mode, R²/(5.78·κ) (5.78 is the square of the first zero of
// the Bessel function J0), with κ of moist mix, 4e-7 m²/s (judgement); the sun
// warms dark fabric by up to some 10 °C. Crude, meant for probes' temperature
// errors and for feed rules, not for horticulture.
type warmth struct {
	skin, core       float64
	skinTau, coreTau float64 // h
	begun            bool
	// How much the skin counts at the depth last asked for: a probe asks for the
	// same one again and again.
	lastDepth, lastShare float64
}

const skinDepthCM = 6

func newWarmth(s garden.Shape) warmth {
	r := math.Min((s.TopDiameterCM+s.BottomDiameterCM)/4, s.HeightCM) / 100
	return warmth{lastShare: 1, skinTau: 1.5, coreTau: math.Max(2, r*r/(5.78*4e-7)/3600)}
}

func (w *warmth) advance(hours, airC, solarWM2 float64) {
	outside := airC + 0.011*solarWM2
	if !w.begun {
		w.skin, w.core, w.begun = airC, airC, true
	}
	w.skin += (outside - w.skin) * -math.Expm1(-hours/w.skinTau)
	// The sides see less sun than the top.
	w.core += ((airC+outside)/2 - w.core) * -math.Expm1(-hours/w.coreTau)
}

func (w *warmth) at(depthCM float64) float64 {
	if depthCM != w.lastDepth {
		w.lastDepth, w.lastShare = depthCM, math.Exp(-math.Max(0, depthCM)/skinDepthCM)
	}
	f := w.lastShare
	return f*w.skin + (1-f)*w.core
}

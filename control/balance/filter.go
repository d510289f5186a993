package balance

import (
	"math"

	"fabricpot/control/garden"
)

// Bounds of the demand factor. A pot that seems to drink outside them has a
// leak, a clogged emitter or a drifting probe, which is an alarm and not a
// property of its plant.
const (
	MinFactor = 0.5
	MaxFactor = 2.0
)

// Filter is a two-state Kalman filter: the mean water fraction of a zone, and
// the factor between the loss that happens and the loss that was modelled. It
// is plain data and may be copied.
type Filter struct {
	// Mean is the water fraction of the zone, m³/m³.
	Mean float64
	// Factor multiplies the modelled loss, MinFactor..MaxFactor.
	Factor float64
	// VarMean, Cov and VarFactor are the covariance of the two.
	VarMean, Cov, VarFactor float64
}

// NewFilter starts at a mean and a factor with their standard deviations.
func NewFilter(mean, meanSD, factor, factorSD float64) Filter {
	return Filter{Mean: mean, Factor: factor, VarMean: meanSD * meanSD, VarFactor: factorSD * factorSD}
}

// Predict takes away a modelled loss and adds a gain, both fractions ≥ 0. The
// doubt about the factor grows into doubt about the mean by itself; lossVar is
// the variance that no constant factor explains (a day unlike the others), and
// gainVar that of the gain.
func (f *Filter) Predict(loss, gain, lossVar, gainVar float64) {
	if !garden.Finite(loss + gain + lossVar + gainVar) {
		return
	}
	f.Mean = garden.Share(f.Mean + gain - f.Factor*loss)
	f.VarMean += loss*loss*f.VarFactor - 2*loss*f.Cov + lossVar + gainVar
	f.Cov -= loss * f.VarFactor
	f.bound()
}

// Drift lets the factor change: variance added to it, for the time passed.
func (f *Filter) Drift(factorVar float64) {
	if garden.Finite(factorVar) && factorVar > 0 {
		if f.VarFactor += factorVar; f.VarFactor > maxFactorVar {
			f.VarFactor = maxFactorVar
		}
	}
}

// Update fuses a measurement z of the mean with standard deviation sd > 0 and
// returns the innovation, z minus what was expected.
func (f *Filter) Update(z, sd float64) float64 {
	if !garden.Finite(z) || !garden.Finite(sd) || sd <= 0 {
		return 0
	}
	innovation := z - f.Mean
	s := f.VarMean + sd*sd
	km, kf := f.VarMean/s, f.Cov/s
	f.Mean = garden.Share(f.Mean + km*innovation)
	f.Factor = within(f.Factor+kf*innovation, MinFactor, MaxFactor)
	f.VarFactor -= kf * f.Cov
	f.Cov *= 1 - km
	f.VarMean *= 1 - km
	f.bound()
	return innovation
}

// UpdateMean is Update for a measurement that tells of the mean alone: the factor
// stays, and its doubt is still accounted for.
func (f *Filter) UpdateMean(z, sd float64) float64 {
	if !garden.Finite(z) || !garden.Finite(sd) || sd <= 0 {
		return 0
	}
	innovation := z - f.Mean
	km := f.VarMean / (f.VarMean + sd*sd)
	f.Mean = garden.Share(f.Mean + km*innovation)
	f.VarMean *= 1 - km
	f.Cov *= 1 - km
	f.bound()
	return innovation
}

// UpdateFactor fuses an observation x of the factor itself, such as how much
// faster than modelled a pot dried between two waterings, with standard
// deviation sd > 0.
func (f *Filter) UpdateFactor(x, sd float64) {
	if !garden.Finite(x) || !garden.Finite(sd) || sd <= 0 {
		return
	}
	k := f.VarFactor / (f.VarFactor + sd*sd)
	f.Factor = within(f.Factor+k*(x-f.Factor), MinFactor, MaxFactor)
	f.VarFactor *= 1 - k
	f.Cov *= 1 - k
	f.bound()
}

// Hold moves the mean into lo..hi without touching the factor, for what is
// certain from elsewhere: a pot can't hold more than it drains to.
func (f *Filter) Hold(lo, hi float64) {
	f.Mean = within(f.Mean, lo, hi)
}

// Forget drops what the two states know of each other, for when water came or
// went that the account can't tell: then the next surprise says nothing about
// the factor.
func (f *Filter) Forget(meanVar float64) {
	f.Cov = 0
	if garden.Finite(meanVar) && meanVar > 0 {
		f.VarMean += meanVar
	}
	f.bound()
}

// Sure caps the standard deviation of the mean, for what is known from elsewhere
// to lie within a span.
func (f *Filter) Sure(sd float64) {
	if garden.Finite(sd) && sd > 0 && sd*sd < f.VarMean {
		f.VarMean = sd * sd
		f.bound()
	}
}

// SD is the standard deviation of the mean.
func (f *Filter) SD() float64 { return math.Sqrt(f.VarMean) }

const (
	minMeanVar   = 0.002 * 0.002
	maxMeanVar   = 0.15 * 0.15
	minFactorVar = 0.03 * 0.03
	maxFactorVar = 0.30 * 0.30
)

// bound keeps the covariance a covariance in finite arithmetic and the filter
// from falling asleep.
func (f *Filter) bound() {
	f.VarMean = within(f.VarMean, minMeanVar, maxMeanVar)
	f.VarFactor = within(f.VarFactor, minFactorVar, maxFactorVar)
	if f.Cov*f.Cov <= 0.96*f.VarMean*f.VarFactor {
		return // within 0.98 times the root, which needs not be drawn
	}
	most := 0.98 * math.Sqrt(f.VarMean*f.VarFactor)
	f.Cov = within(f.Cov, -most, most)
}

// within is min(max(x, lo), hi) of numbers that are none of them NaN. Unlike min and max it
// orders no signed zeros, which costs more than all else here: -0, as a covariance may be,
// stays what it is.
func within(x, lo, hi float64) float64 {
	if x < lo {
		x = lo
	}
	if x > hi {
		x = hi
	}
	return x
}

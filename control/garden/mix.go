package garden

// RetentionModel names a water retention curve.
type RetentionModel string

const (
	// VanGenuchten is van Genuchten (1980) with m = 1-1/n.
	VanGenuchten RetentionModel = "van-genuchten"
	// BrooksCorey is Brooks and Corey (1964).
	BrooksCorey RetentionModel = "brooks-corey"
	// Exponential is Gardner-Russo's Se = exp(-αh).
	Exponential RetentionModel = "exponential"
)

// Retention holds the parameters of a curve θ(h), h the suction in cm of water.
type Retention struct {
	Model RetentionModel
	// ThetaR and ThetaS are residual and saturated water fraction, m³/m³.
	ThetaR, ThetaS float64
	// AlphaPerCM is α, 1/cm (van Genuchten, exponential).
	AlphaPerCM float64
	// N is van Genuchten's shape, > 1.
	N float64
	// HbCM and Lambda are Brooks and Corey's air entry suction, cm, and index.
	HbCM, Lambda float64
	// KsCMH is the saturated hydraulic conductivity, cm/h. Only the simulator
	// uses it.
	KsCMH float64
}

// Mix is a potting mix.
type Mix struct {
	ID        MixID
	Name      string
	Retention Retention
	// Illustrative marks parameters that were not measured on this mix.
	Illustrative bool
	// Calibration turns a probe's voltage in this mix into water fraction.
	Calibration Calibration
	// StarterNmgL, StarterPmgL, StarterKmgL are the nutrients mixed in at the
	// start, mg per litre of mix.
	StarterNmgL, StarterPmgL, StarterKmgL float64
}

// CalibrationKind names how calibration points become a curve.
type CalibrationKind string

const (
	// NoCurve: nothing is known.
	NoCurve CalibrationKind = ""
	// TwoPoint is the straight line through two points.
	TwoPoint CalibrationKind = "two-point"
	// Interpolated is monotone interpolation through three or more points.
	Interpolated CalibrationKind = "interpolated"
	// LeastSquares is the straight line that fits two or more points best.
	LeastSquares CalibrationKind = "least-squares"
	// Quadratic is the parabola that fits three or more points best.
	Quadratic CalibrationKind = "quadratic"
	// Inverse is θ = a + b/V, fitted to two or more points: many capacitive
	// circuits give a voltage that falls as one over the permittivity.
	Inverse CalibrationKind = "inverse"
	// Linear is a given slope and intercept.
	Linear CalibrationKind = "linear"
)

// CalibrationPoint pairs what a probe said with what was true.
type CalibrationPoint struct {
	Volts Volts
	Water WaterFraction
}

// Calibration turns volts into water fraction. Volts may fall as water rises.
type Calibration struct {
	Kind   CalibrationKind
	Points []CalibrationPoint
	// Slope (per volt) and Intercept are for Linear: θ = Intercept + Slope·V.
	Slope, Intercept float64
	// OffsetWater is added to the result: several probes in one mix share a
	// shape with an offset each.
	OffsetWater float64
	// TempCoeff is the apparent change of θ per °C above TempRefC, which a
	// reading is freed of; default none.
	TempCoeff, TempRefC float64
	// ProbeOffsets are further offsets by probe, from a calibration file that
	// several probes share.
	ProbeOffsets map[ProbeID]float64
	// File is the calibration file all this came from; empty for the garden
	// file itself.
	File string
}

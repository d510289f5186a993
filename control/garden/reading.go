package garden

import "fmt"

// Quality says how far a reading may be trusted.
type Quality uint8

const (
	// Bad readings decide nothing. It is the zero value, so a forgotten field
	// is distrusted.
	Bad Quality = iota
	// Uncertain readings are shown and may end a watering, never start one.
	Uncertain
	// Good readings may start a watering.
	Good
)

func (q Quality) String() string {
	switch q {
	case Good:
		return "good"
	case Uncertain:
		return "uncertain"
	}
	return "bad"
}

// ReadingFault names why a reading is less than good. Missing, stale and
// implausible are three different errors and none of them is zero water.
type ReadingFault uint8

const (
	// NoFault is a reading with nothing against it.
	NoFault ReadingFault = iota
	// Missing: the probe or its converter did not answer.
	Missing
	// Stale: the last answer is older than the probe's limit.
	Stale
	// OutOfSpan: outside the calibrated span but not near a rail.
	OutOfSpan
	// OpenCircuit: the input sits at the rail an unconnected probe drifts to.
	OpenCircuit
	// ShortCircuit: the input sits at ground.
	ShortCircuit
	// FlatLine: the value has not moved at all for longer than noise allows.
	FlatLine
	// TooFast: it changed faster than water can move through a mix.
	TooFast
	// Noisy: the burst's spread is wider than the probe's noise limit.
	Noisy
	// NoCalibration: nothing is known that turns the voltage into water.
	NoCalibration
	// NoResponse: the probe did not move after water that must have reached it.
	NoResponse
)

var readingFaults = [...]string{
	NoFault:       "",
	Missing:       "no answer from the probe",
	Stale:         "the last answer is too old",
	OutOfSpan:     "outside the calibrated span",
	OpenCircuit:   "open circuit: cable or plug",
	ShortCircuit:  "short circuit: cable or water in the plug",
	FlatLine:      "has not moved for too long",
	TooFast:       "moves faster than water can",
	Noisy:         "too noisy",
	NoCalibration: "no calibration",
	NoResponse:    "did not move after water",
}

func (f ReadingFault) String() string {
	if int(f) < len(readingFaults) {
		return readingFaults[f]
	}
	return fmt.Sprintf("fault %d", uint8(f))
}

// Reading is what a probe says about the mix around it, and how far to trust it.
type Reading struct {
	Probe ProbeID
	Zone  ZoneID
	// At is when the sample was taken.
	At Moment
	// Volts is the median of the burst, for the journal and for calibration.
	Volts Volts
	// Water is the water fraction at the probe's own depth, not the zone's
	// mean. Meaningless unless Quality is Good or Uncertain.
	Water WaterFraction
	// TempC is the mix temperature at the probe, where it is measured.
	TempC Measured
	// Quality and Fault say how far to trust Water and why not further.
	Quality Quality
	Fault   ReadingFault
}

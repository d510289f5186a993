package garden

// WaterFraction is volumetric water content, m³ of water per m³ of mix, 0 to 1.
type WaterFraction float64

// RawCounts is what an ADC returned, before any scale is applied.
type RawCounts int32

// Volts is a probe's output voltage.
type Volts float64

// Measured is a number that may be absent. An absent value is never zero: read
// Value only where Known.
type Measured struct {
	Value float64
	Known bool
}

// Known returns v as a present value. It returns an absent one for NaN or ±Inf,
// so neither can enter through it.
func Known(v float64) Measured {
	if !Finite(v) {
		return Measured{}
	}
	return Measured{Value: v, Known: true}
}

// Or returns the value, or otherwise where it is absent.
func (m Measured) Or(otherwise float64) float64 {
	if m.Known {
		return m.Value
	}
	return otherwise
}

// Finite reports whether v is neither NaN nor infinite: what is takes nothing away
// from itself.
func Finite(v float64) bool { return v-v == 0 }

// Share is min(max(v, 0), 1) for every v, NaN too, and NotBelow0 is max(v, 0). What each
// zone is reckoned with each tick uses them: to order signed zeros of any two numbers
// the built-in ones take ten instructions where a comparison that is foreseen takes two.
func Share(v float64) float64 {
	if v > 1 {
		return 1
	}
	return NotBelow0(v)
}

// NotBelow0 is max(v, 0): see Share.
func NotBelow0(v float64) float64 {
	if v <= 0 { // -0 as well
		return 0
	}
	return v
}

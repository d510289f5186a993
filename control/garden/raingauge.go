package garden

import "fmt"

// RainGauge turns the count of a tipping bucket into rain. It is a value that its
// owner keeps; the zero RainGauge measures nothing.
type RainGauge struct {
	// MMPerPulse is what one tip stands for, mm: the bucket's millilitres over
	// the funnel's area.
	MMPerPulse float64

	last  uint64
	known bool
}

// mostGaugeMM is the most rain believed between two looks, mm: more than a cloud
// gives in a minute is a contact that bounces.
const mostGaugeMM = 20

// NewRainGauge refuses a bucket that no gauge has.
func NewRainGauge(mmPerPulse float64) (RainGauge, error) {
	if !Finite(mmPerPulse) || mmPerPulse < 0.01 || mmPerPulse > 10 {
		return RainGauge{}, fmt.Errorf("rain gauge: %v mm a pulse, expected 0.01 to 10", mmPerPulse)
	}
	return RainGauge{MMPerPulse: mmPerPulse}, nil
}

// Read takes the gauge's count of pulses in all and gives the rain since the last
// look, mm, with the gauge as it is afterwards. The first look, and one at which
// the count ran back, measure nothing and say so by being absent; so does more
// than could fall.
func (g RainGauge) Read(pulses uint64) (Measured, RainGauge) {
	before, known := g.last, g.known
	g.last, g.known = pulses, true
	if !known || pulses < before || g.MMPerPulse <= 0 {
		return Measured{}, g
	}
	mm := float64(pulses-before) * g.MMPerPulse
	if mm > mostGaugeMM {
		return Measured{}, g
	}
	return Known(mm), g
}

package units_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fabricpot/cmd/gateway/internal/units"
)

// TestParse uses conversions of NIST SP 811 Appendix B.8 (from memory): US
// gallon 3.785 412 L, inch 2.54 cm, foot 0.3048 m, psi 6.894 757 kPa, pound
// 0.453 592 37 kg; and the fixed points of water, 32 °F and 212 °F.
func TestParse(t *testing.T) {
	for _, c := range []struct {
		q    units.Quantity
		text string
		want float64
	}{
		{units.Volume(), "75 L", 75},
		{units.Volume(), "75L", 75},
		{units.Volume(), "750 mL", 0.75},
		{units.Volume(), "20 gal", 75.70824},
		{units.Flow(), "0.5 gal/h", 1.892706},
		{units.Flow(), "2 L/min", 120},
		{units.Length(), "5 in", 12.7},
		{units.Length(), "120 mm", 12},
		{units.Altitude(), "100 ft", 30.48},
		{units.Area(), "1 ft2", 0.09290304},
		{units.Fraction(), "35 %", 0.35},
		{units.Fraction(), "0.35 m³/m³", 0.35},
		{units.Temperature(), "32 °F", 0},
		{units.Temperature(), "212 °F", 100},
		{units.Temperature(), "-40 F", -40},
		{units.Temperature(), "20 °C", 20},
		{units.Pressure(), "1.5 bar", 150},
		{units.Pressure(), "20 psi", 137.89515},
		{units.Conductivity(), "1 dS/m", 1},
		{units.Conductivity(), "500 µS/cm", 0.5},
		{units.InverseLength(), "15 /m", 0.15},
		{units.Seepage(), "240 cm/d", 10},
		{units.Span(), "90 min", 5400},
		{units.Mass(), "2 lb", 0.90718474},
		{units.PulseRate(), "450 pulses/L", 450},
		{units.PerDegree(), "0.1 %/°F", 0.0018},
		{units.Volume(), "1.5e1 L", 15},
	} {
		t.Run(c.text, func(t *testing.T) {
			got, err := c.q.Parse(c.text)
			require.NoError(t, err)
			assert.InDelta(t, c.want, got, 1e-5*max(1, c.want))
		})
	}
}

func TestParseRefuses(t *testing.T) {
	for _, c := range []struct{ text, what string }{
		{"75", "no unit"}, {"L", "not a number"}, {"", "not a number"}, {"nan L", "not a number"}, {"inf L", "not a number"},
		{"0x10 L", `unknown unit "x10 L"`}, {"1e999 L", "too large a number"}, {"2,5 L", "a comma in a number (write a decimal point)"},
		{"75 l/h", `unknown unit "l/h"`}, {"7 5 L", `unknown unit "5 L"`}, {"- 5 L", "not a number"}, {"1_000 L", `unknown unit "_000 L"`},
		{"11111111111111111111111111111111111111111 L", "too long a number"},
	} {
		t.Run(c.text, func(t *testing.T) {
			_, err := units.Volume().Parse(c.text)
			var e *units.Error
			require.ErrorAs(t, err, &e)
			assert.Equal(t, c.what, e.What)
			assert.Equal(t, "a volume in L, mL or gal, such as 75 L", e.Expected)
		})
	}
}

func TestFormat(t *testing.T) {
	for _, c := range []struct {
		q      units.Quantity
		si     float64
		unit   string
		digits int
		want   string
	}{
		{units.Volume(), 75.70823568, "gal", 1, "20 gal"},
		{units.Volume(), 75.7, "L", 1, "75.7 L"},
		{units.Volume(), 1000, "L", 0, "1000 L"},
		{units.Volume(), -0.001, "L", 1, "0 L"},
		{units.Temperature(), 37.5, "°F", 1, "99.5 °F"},
		{units.Length(), 12.7, "in", 2, "5 in"},
		{units.Volume(), 3, "bushel", 0, "3 L"},
	} {
		assert.Equal(t, c.want, c.q.Format(c.si, c.unit, c.digits))
	}
}

// TestThereAndBack: every unit of every quantity, written and read again.
func TestThereAndBack(t *testing.T) {
	all := []units.Quantity{
		units.Volume(), units.Flow(), units.Length(), units.Altitude(), units.Area(), units.Fraction(), units.Potential(), units.Temperature(),
		units.Span(), units.Pressure(), units.Conductivity(), units.InverseLength(), units.Seepage(), units.Concentration(), units.PulseRate(),
		units.PerVolt(), units.PerDegree(), units.Strength(), units.Density(), units.Solubility(), units.Mass(),
	}
	rapid.Check(t, func(t *rapid.T) {
		q := rapid.SampledFrom(all).Draw(t, "quantity")
		u := rapid.SampledFrom(q.Units).Draw(t, "unit")
		v := rapid.Float64Range(-1000, 1000).Draw(t, "value")
		got, err := q.Parse(q.Format(v*u.Factor, u.Name, 9))
		if err != nil {
			t.Fatal(err)
		}
		if d := got - v*u.Factor; d > 1e-8*max(1, u.Factor) || d < -1e-8*max(1, u.Factor) {
			t.Fatalf("%v %s came back as %v", v, u.Name, got)
		}
	})
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"75 L", "20 gal", "1e5 L", "-3.5e-2 mL", "L", "1,5 L", ".5 L", "5. L"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		v, err := units.Volume().Parse(text)
		if err == nil && (math.IsNaN(v) || math.IsInf(v, 0)) {
			t.Fatalf("%q gave %v", text, v)
		}
	})
}

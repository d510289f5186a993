package page

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// A US gallon is 3.785411784 L, and °F = 1.8 °C + 32 (NIST SP 811, appendix B;
// from memory).
func TestWordsInTheBrowsersUnits(t *testing.T) {
	us := prefs{gallons: true, fahrenheit: true}
	for said, want := range map[string]string{
		"holds 44.1 % water, under its refill point of 45.5 %: 4.1 L to refill": "holds 44.1 % water, under its refill point of 45.5 %: 1.1 gal to refill",
		"opens chilli for 1.36 L: pulse 2 of 3, 2.7 L still to give":            "opens chilli for 0.36 gal: pulse 2 of 3, 0.71 gal still to give",
		"the mix is at 36 °C":                            "the mix is at 97 °F",
		"frost: -2.5 °C":                                 "frost: 28 °F",
		"6.0 L/h where 12.0 L/h was expected":            "1.6 gal/h where 3.2 gal/h was expected",
		"line l0 has reached its limit of 113.6 L a day": "line l0 has reached its limit of 30 gal a day",
		"150 mg/L N, 2.0 mS/cm":                          "150 mg/L N, 2.0 mS/cm",
		"mix 12 g into 3.785 L":                          "mix 12 g into 1 gal",
		"5 Leaves":                                       "5 Leaves",
	} {
		assert.Equal(t, want, us.words(said))
		assert.Equal(t, said, prefs{}.words(said))
	}
	assert.Equal(t, "2.0 L at 77 °F", prefs{fahrenheit: true}.words("2.0 L at 25 °C"))
}

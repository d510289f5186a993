package units

import (
	"bytes"
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
)

// A US gallon is 3.785411784 L, and °F = 1.8 °C + 32 (NIST SP 811, appendix B; from memory).
func TestReadsAs(t *testing.T) {
	for name, c := range map[string]struct {
		written []string
		want    Reads
	}{
		"nothing":            {nil, Reads{}},
		"litres":             {[]string{"75 L", "2 L/h", "20 °C"}, Reads{}},
		"all in US units":    {[]string{"20 gal", "0.5 gal/h", "150 gph", "41 °F", "150 mg/L", "450 pulses/L", "4 x 2 gal"}, Reads{Gallons: true, Fahrenheit: true}},
		"one in litres":      {[]string{"20 gal", "0.5 gal/h", "500 mL"}, Reads{}},
		"one in litres/h":    {[]string{"20 gal", "2 L/h"}, Reads{}},
		"gallons alone":      {[]string{" 20  gallons ", "20 °C"}, Reads{Gallons: true}},
		"Fahrenheit alone":   {[]string{"75 L", "68 F"}, Reads{Fahrenheit: true}},
		"of both":            {[]string{"68 F", "3 C"}, Reads{}},
		"words and bare":     {[]string{"gal", "20", "L", "", "F"}, Reads{}},
		"what reads as none": {[]string{"20 goats", "1e999 gal"}, Reads{}},
	} {
		written := map[string]string{}
		for i, w := range c.written {
			written[fmt.Sprint(i)] = w
		}
		assert.Equal(t, c.want, ReadsAs(written), name)
	}
}

func TestReadsTo(t *testing.T) {
	var b bytes.Buffer
	const said = "give 3.79 L at 20 °C, 12.0 L/h, 150 mg/L\n"
	n, err := fmt.Fprint(Reads{Gallons: true, Fahrenheit: true}.To(&b), said)
	assert.NoError(t, err)
	assert.Equal(t, len(said), n, "of what was given to be written")
	assert.Equal(t, "give 1 gal at 68 °F, 3.2 gal/h, 150 mg/L\n", b.String())
	assert.Same(t, &b, Reads{}.To(&b))

	assert.Equal(t, "3.8", Reads{}.Figure(3.785, 1))
	assert.Equal(t, "1.00", Reads{Gallons: true}.Figure(3.785, 1))
}

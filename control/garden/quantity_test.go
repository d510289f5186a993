package garden

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The language's own min and max, bit for bit.
func TestShareIsMinOfMax(t *testing.T) {
	same := func(t require.TestingT, v float64) {
		require.Equal(t, math.Float64bits(min(max(v, 0), 1)), math.Float64bits(Share(v)), "%v", v)
		require.Equal(t, math.Float64bits(max(v, 0)), math.Float64bits(NotBelow0(v)), "%v", v)
	}
	for _, v := range []float64{0, math.Copysign(0, -1), 1, math.Nextafter(1, 2), math.SmallestNonzeroFloat64,
		-math.SmallestNonzeroFloat64, math.Inf(1), math.Inf(-1), math.NaN()} {
		same(t, v)
	}
	rapid.Check(t, func(t *rapid.T) { same(t, rapid.Float64Range(-2, 2).Draw(t, "v")) })
}

package medium

import (
	"runtime"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/interp"
	"pgregory.net/rapid"
)

// fuses: a multiplication and an addition may be one operation, rounded once.
const fuses = runtime.GOARCH != "amd64" && runtime.GOARCH != "arm"

// The same number as gonum's own search and polynomial give, to the last bit: at knots,
// beside them and anywhere, however unevenly the knots lie.
func TestCubicIsGonums(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		near := rapid.Custom(func(t *rapid.T) float64 {
			return rapid.Float64Range(1e-9, 1).Draw(t, "step") * []float64{1, 1e-3, 1e-7}[rapid.IntRange(0, 2).Draw(t, "scale")]
		})
		steps := rapid.SliceOfN(near, 2, 300).Draw(t, "steps")
		rises := rapid.SliceOfN(near, len(steps), len(steps)).Draw(t, "rises")
		xs, ys := []float64{rapid.Float64Range(0, 1).Draw(t, "x")}, []float64{rapid.Float64Range(0, 1).Draw(t, "y")}
		for i := range steps {
			xs, ys = append(xs, xs[i]+steps[i]), append(ys, ys[i]+rises[i])
		}
		if len(slices.Compact(slices.Clone(xs))) < len(xs) {
			t.Skip("two knots are one")
		}
		var want interp.FritschButland
		require.NoError(t, want.Fit(xs, ys))
		var got cubic
		require.NoError(t, got.fit(xs, ys))
		last := len(xs) - 1
		asked := append(slices.Clone(xs), rapid.SliceOfN(rapid.Float64Range(xs[0], xs[last]), 20, 20).Draw(t, "at")...)
		for i := range steps {
			asked = append(asked, xs[i]+steps[i]/3)
		}
		for _, x := range asked {
			if x <= xs[last] {
				if fuses {
					require.InEpsilon(t, want.Predict(x), got.at(x), 1e-9, "at %v", x)
					continue
				}
				require.Equal(t, want.Predict(x), got.at(x), "at %v", x)
			}
		}
	})
}

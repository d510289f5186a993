package garden

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestRainGauge(t *testing.T) {
	g, err := NewRainGauge(0.2)
	require.NoError(t, err)
	for _, look := range []struct {
		name   string
		pulses uint64
		want   Measured
	}{
		{"the first look measures nothing", 1000, Measured{}},
		{"five tips", 1005, Known(1)},
		{"none", 1005, Known(0)},
		{"a counter that began anew", 3, Measured{}},
		{"and counts on", 4, Known(0.2)},
		{"a contact that bounces", 5000, Measured{}},
		{"and is over", 5001, Known(0.2)},
	} {
		var mm Measured
		mm, g = g.Read(look.pulses)
		assert.Equal(t, look.want.Known, mm.Known, look.name)
		assert.InDelta(t, look.want.Value, mm.Value, 1e-9, look.name)
	}
	for _, bad := range []float64{0, -1, 50, math.NaN(), math.Inf(1)} {
		_, err := NewRainGauge(bad)
		assert.Error(t, err, "%v", bad)
	}
}

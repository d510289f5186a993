package season

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestClimateIsRepeatableAndSane(t *testing.T) {
	from := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	year := Climate(7, from, 365)
	require.Len(t, year, 365)
	assert.Equal(t, year, Climate(7, from, 365), "one seed, one year")
	assert.Equal(t, year[180:200], Climate(7, from.AddDate(0, 0, 180), 20), "a day does not depend on where the series begins")
	assert.NotEqual(t, year, Climate(8, from, 365))

	var january, july, rain float64
	for i, d := range year {
		require.Less(t, d.TMinC.Value, d.TMaxC.Value, "day %d", i)
		require.GreaterOrEqual(t, d.RainMM.Value, 0.0)
		rain += d.RainMM.Value
		switch d.Date.Month() {
		case time.January:
			january += d.TMaxC.Value / 31
		case time.July:
			july += d.TMaxC.Value / 31
		}
	}
	// The shape is what the demo needs: a hot summer, a mild winter, some rain.
	assert.InDelta(t, 32, july, 4)
	assert.InDelta(t, 9, january, 4)
	assert.InDelta(t, 500, rain, 250)
}

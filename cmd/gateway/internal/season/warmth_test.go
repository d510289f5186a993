package season

import (
	"testing"
	"time"

	"fabricpot/sim/bench"
	"fabricpot/testdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestThermometersOnTheBench: the real driver reads the mix of its own pot, and
// whatever goes wrong with it the temperature is absent after ten minutes, never
// 85 °C, −127 °C or an old one.
func TestThermometersOnTheBench(t *testing.T) {
	const id = "28-0316a2794bff"
	g := load(t, "terrace.yaml", testdata.Terrace)
	g.Pots[0].Zones[0].Thermometer = id
	start := time.Date(2026, 7, 1, 5, 0, 0, 0, g.Site.Zone)
	b, err := NewBench(g, Options{Seed: 5, Start: start, Weather: Climate(5, start, 20), Watched: true})
	require.NoError(t, err)
	require.NoError(t, b.Begin())
	temp := func() *float64 { return b.Loop.Status().Zones[0].Probes[0].TempC }
	b.RunTo(9 * time.Hour)
	require.NotNil(t, temp())
	truth := b.Wires.ProbeTempC(0)
	require.True(t, truth.Known)
	assert.InDelta(t, truth.Value, *temp(), 3, "half way down, and by sixteenths of a degree")
	for _, f := range []bench.ThermometerFault{bench.ThermometerGarbled, bench.ThermometerPowerOn, bench.ThermometerUnplugged, bench.ThermometerGone} {
		require.True(t, b.Wires.FailThermometer(id, f))
		before := *temp()
		b.RunTo(b.Clock.Now() + 5*time.Minute)
		require.NotNil(t, temp(), "fault %d: a few minutes are bridged", f)
		assert.Equal(t, before, *temp())
		b.RunTo(b.Clock.Now() + 8*time.Minute)
		assert.Nil(t, temp(), "fault %d", f)
		require.NotNil(t, b.Loop.Status().Zones[1].Probes[0].TempC, "the other pots are not touched")
		require.True(t, b.Wires.FailThermometer(id, bench.ThermometerHealthy))
		b.RunTo(b.Clock.Now() + 2*time.Minute)
		require.NotNil(t, temp())
	}
	assert.False(t, b.Wires.FailThermometer("28-000000000000", bench.ThermometerGone))
	b.End()
}

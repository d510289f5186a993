package season

import (
	"testing"
	"time"

	"fabricpot/control/garden"
	"fabricpot/sim/bench"
	"fabricpot/testdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestKernelsConverterOnTheBench: the real driver reads its probes as our own
// converter's are read, and its faults are probes that do not answer or read
// nonsense, for as long as they last.
func TestKernelsConverterOnTheBench(t *testing.T) {
	g := load(t, "terrace.yaml", testdata.Terrace)
	zone := &g.Pots[0].Zones[0]
	for i := range zone.Probes {
		zone.Probes[i].Input = garden.Input{Bus: "iio/ads1015", Channel: i}
	}
	start := time.Date(2026, 7, 1, 5, 0, 0, 0, g.Site.Zone)
	b, err := NewBench(g, Options{Seed: 5, Start: start, Weather: Climate(5, start, 20), Watched: true})
	require.NoError(t, err)
	require.NoError(t, b.Begin())
	b.RunTo(time.Hour)
	probes := func(z int) (qualities []string) {
		for _, p := range b.Loop.Status().Zones[z].Probes {
			qualities = append(qualities, p.Quality)
		}
		return qualities
	}
	require.Equal(t, []string{"good", "good"}, probes(0))
	for i, p := range b.Loop.Status().Zones[0].Probes {
		in, ok := b.Wires.Input(p.Probe)
		require.True(t, ok)
		assert.InDelta(t, in.Water(), *p.Water, 0.03, "probe %d by counts of 2 mV", i)
	}
	for _, f := range []bench.IIOFault{bench.IIOBusy, bench.IIOGone, bench.IIOSaturated} {
		require.True(t, b.Wires.FailIIO("ads1015", f))
		b.RunTo(b.Clock.Now() + 10*time.Minute)
		assert.Equal(t, []string{"bad", "bad"}, probes(0), "fault %d", f)
		assert.Equal(t, "good", probes(1)[0], "the others are read all the same")
		require.True(t, b.Wires.FailIIO("ads1015", bench.IIOHealthy))
		b.RunTo(b.Clock.Now() + 20*time.Minute)
		assert.Equal(t, []string{"good", "good"}, probes(0), "after fault %d", f)
	}
	assert.False(t, b.Wires.FailIIO("mcp3208", bench.IIOGone))
	b.End()

	same := load(t, "terrace.yaml", testdata.Terrace)
	for i := range same.Pots[0].Zones[0].Probes {
		same.Pots[0].Zones[0].Probes[i].Input = garden.Input{Bus: "iio/ads1015", Channel: 1}
	}
	_, err = NewBench(same, Options{Seed: 5, Start: start, Weather: Climate(5, start, 20)})
	require.ErrorContains(t, err, "share channel 1 of ads1015")
}

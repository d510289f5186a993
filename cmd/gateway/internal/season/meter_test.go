package season

import (
	"strings"
	"testing"
	"time"

	"fabricpot/control/alarm"
	"fabricpot/control/garden"
	"fabricpot/sim/terrace"
	"fabricpot/testdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// metered is the synthetic hot garden with a flow meter.
func metered(t *testing.T) *garden.Garden {
	src := strings.Replace(string(testdata.Heatwave), "supply:\n  flow: 60 L/h\n", "supply:\n  flow: 60 L/h\n  meter: 400 pulses/L\n", 1)
	g := load(t, "metered.yaml", []byte(src))
	require.True(t, g.Supply.MeterPulsesPerL.Known)
	return g
}

// TestMeterEndsPulses: with a meter a pulse ends by what was counted, and pots
// get what was meant even where emitters give less than their label says.
func TestMeterEndsPulses(t *testing.T) {
	g := metered(t)
	rows := Climate(1, time.Date(2026, 7, 1, 0, 0, 0, 0, g.Site.Zone), 5)
	ears := newEars()
	b, err := NewBench(g, Options{Seed: 1, Start: rows[0].Date, Weather: rows, Tell: ears,
		Terrace: terrace.Options{StartSuctionCM: 20, SupplyDroop: garden.Known(0.3)}})
	require.NoError(t, err)
	require.NoError(t, b.Begin())
	b.RunTo(48 * time.Hour)
	b.End()
	var told, ran float64
	require.NotEmpty(t, ears.ended)
	for _, d := range ears.ended {
		assert.True(t, d.Metered, "order %d", d.Order)
		told += d.Litres
	}
	for i := range g.Lines {
		ran += b.Terrace.LineLitres(g.Lines[i].ID)
	}
	assert.InDelta(t, ran, told, 0.01*ran+0.02*float64(len(ears.ended)))
	assert.Empty(t, ears.raised(alarm.FlowWithoutOrder, alarm.OrderWithoutFlow, alarm.FlowTooHigh))
}

// TestAMeterTellsOfEmittersThatClog: half of a pot's emitters clog. Pulses end by the
// meter, so that the pot lacks nothing; with the third watering it is told, once, and
// what mends it ends it.
func TestAMeterTellsOfEmittersThatClog(t *testing.T) {
	g := metered(t)
	rows := Climate(1, time.Date(2026, 7, 1, 0, 0, 0, 0, g.Site.Zone), 20)
	ears := newEars()
	b, err := NewBench(g, Options{Seed: 1, Start: rows[0].Date, Weather: rows, Tell: ears, Terrace: terrace.DefaultOptions(1, nil)})
	require.NoError(t, err)
	require.NoError(t, b.Begin())
	b.RunTo(8 * 24 * time.Hour)
	require.Empty(t, ears.raised(alarm.LessFlow))
	line := g.Lines[0].ID
	require.True(t, b.Terrace.BlockEmitters(line, 0, 0.5))
	b.RunTo(14 * 24 * time.Hour)
	told := ears.raised(alarm.LessFlow)
	require.Len(t, told, 1)
	assert.Equal(t, string(line), told[0].Subject)
	t.Logf("told %v after they clogged", told[0].At.Mono-8*24*time.Hour)
	assert.Less(t, told[0].At.Mono, 11*24*time.Hour)
	require.Empty(t, ears.over(alarm.LessFlow), "as long as they are clogged")
	b.Terrace.BlockEmitters(line, 0, 0)
	b.RunTo(19 * 24 * time.Hour)
	assert.Len(t, ears.raised(alarm.LessFlow), 1)
	assert.Len(t, ears.over(alarm.LessFlow), 1, "when they are mended")
	assert.Less(t, b.Terrace.Totals(0).PotentialTranspirationL-b.Terrace.Totals(0).TranspiredL, 0.01*b.Terrace.Totals(0).PotentialTranspirationL)
}

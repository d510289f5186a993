package config_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/config"
)

// gauged puts keys under supply and at the end of the small file.
func gauged(t *testing.T, supply, end string) string {
	t.Helper()
	return replace(t, small, "supply:\n", "supply:\n"+supply) + end
}

func TestGaugesOnTheBench(t *testing.T) {
	g, src, err := config.Load("g.yaml", []byte(gauged(t, "  meter: 450 pulses/L\n  float: { debounce: 1 s }\n  pump: { pin: 23 }\n", "rain-gauge: { per-tip: 0.2 mm }\n")))
	require.NoError(t, err)
	assert.Empty(t, src.Warnings)
	assert.True(t, g.Supply.Float.Fitted && g.Rain.Fitted && g.Supply.Pump.Fitted, "the bench has its own wires")
	assert.Equal(t, 30*time.Second, g.Supply.Pump.FlowWithin, "where the file does not say")
	assert.Equal(t, 30*time.Minute, g.Supply.Pump.MaxRun)

	g, _, err = config.Load("g.yaml", []byte(gauged(t, "  meter: 1 pulses/L\n  pump: { pin: 23 }\n", "")))
	require.NoError(t, err)
	assert.Greater(t, g.Supply.Pump.FlowWithin, 3*time.Minute, "a meter of few pulses takes its time to show flow")
}

func TestGaugeSlips(t *testing.T) {
	for _, c := range []struct {
		name, supply, end, want string
	}{
		{"a pin twice", "  float: { pin: 24 }\n", "rain-gauge: { per-tip: 0.2 mm, pin: 24 }\n", `two things on one pin, found 24, expected a pin that the float does not use`},
		{"no rain", "", "rain-gauge: { pin: 24 }\n", `no "per-tip"`},
		{"a bucket no gauge has", "", "rain-gauge: { per-tip: 30 mm }\n", "0.01 mm to 10 mm"},
		{"no constant", "  meter: { pin: 24 }\n", "", `no "constant"`},
		{"a wrong end", "  float: { pin: 24, contact: earth }\n", "", "ground or supply"},
		{"flow without a meter", "  pump: { pin: 23, flow-within: 30 s }\n", "", "no meter to show flow"},
		{"flow too soon for the meter", "  meter: 1 pulses/L\n  pump: { pin: 23, flow-within: 30 s }\n", "", "the meter can't show the flow of the smallest line so soon"},
		{"a slip", "  pump: { pin: 23, flow-witin: 30 s }\n", "", `found "flow-witin", expected "flow-within"`},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, _, err := config.Load("g.yaml", []byte(gauged(t, c.supply, c.end)))
			require.Error(t, err)
			assert.Contains(t, err.Error(), c.want)
			assert.Equal(t, 1, strings.Count(err.Error(), "g.yaml:"), "one slip, one message: %v", err)
		})
	}
}

func TestGaugeWarnings(t *testing.T) {
	board := func(supply string) (string, error) {
		src := gauged(t, supply, "")
		if strings.Contains(src, "hardware:\n") {
			src = replace(t, src, "kind: bench", "kind: board\n  gpio-chip: pinctrl-main\n  i2c-bus: /dev/i2c-1")
		} else {
			src += "hardware: { kind: board, gpio-chip: pinctrl-main, i2c-bus: /dev/i2c-1 }\n"
		}
		_, s, err := config.Load("g.yaml", []byte(src))
		if err != nil {
			return "", err
		}
		return s.Warnings.Error(), nil
	}
	for _, c := range []struct{ supply, want string }{
		{"  meter: 450 pulses/L\n", "nothing reads it on this board"},
		{"  pump: { pin: 23 }\n", "nothing keeps it from running dry"},
		{"  tank: 300 L\n", "supply.tank: nothing tells on this board how full it is"},
	} {
		got, err := board(c.supply)
		require.NoError(t, err)
		assert.Contains(t, got, c.want)
	}
	got, err := board("  tank: 300 L\n  meter: { constant: 450 pulses/L, pin: 22 }\n  float: { pin: 24 }\n  pump: { pin: 23 }\n")
	require.NoError(t, err)
	assert.Empty(t, got, "all of it is read on a board")
	_, err = board("  float: { debounce: 1 s }\n")
	assert.ErrorContains(t, err, `no "pin"`)
}

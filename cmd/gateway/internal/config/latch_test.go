package config_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/control/garden"
	"fabricpot/testdata"
)

// TestLatchingValve reads a valve with two pins, warns that it stays open without
// power, and refuses what can't be wired.
func TestLatchingValve(t *testing.T) {
	const chilli = "valve: { pin: "
	src := string(testdata.Terrace)
	at := strings.Index(src, chilli)
	require.Positive(t, at)
	end := at + strings.Index(src[at:], "}") + 1
	with := func(valve string) (*garden.Garden, *config.Source, error) {
		return config.Load("g.yaml", []byte(src[:at]+valve+src[end:]))
	}
	g, s, err := with("valve: { pin: 40, close-pin: 41 }")
	require.NoError(t, err)
	assert.Equal(t, garden.PinValve, g.Lines[0].Valve.Kind)
	assert.Equal(t, &garden.Latch{ClosePin: 41, Pulse: 50 * time.Millisecond}, g.Lines[0].Valve.Latch)
	assert.Contains(t, s.Warnings.Error(), "stays open where power fails")

	g, _, err = with("valve: { pin: 40, close-pin: 41, pulse: 120 ms }")
	require.NoError(t, err)
	assert.Equal(t, 120*time.Millisecond, g.Lines[0].Valve.Latch.Pulse)

	for _, c := range []struct{ name, valve, want string }{
		{"one pin for both", "valve: { pin: 40, close-pin: 40 }", "one pin for both pulses"},
		{"a pulse alone", "valve: { pin: 40, pulse: 50 ms }", "belongs to a latching valve"},
		{"too long a pulse", "valve: { pin: 40, close-pin: 41, pulse: 2 s }", "out of range"},
		{"no unit", "valve: { pin: 40, close-pin: 41, pulse: 50 }", "no unit"},
		{"another valve's pin", "valve: { pin: 40, close-pin: 27 }", "two lines on one valve"},
		{"no pin to open it", "valve: { close-pin: 41 }", "neither a pin nor a remote node"},
		{"a remote node's", "valve: { remote: tap, close-pin: 41 }", "belongs to a pin"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, _, err := with(c.valve)
			require.ErrorContains(t, err, c.want)
			assert.Regexp(t, `(?m)^g\.yaml:\d+:\d+: lines\.`, err.Error())
		})
	}
}

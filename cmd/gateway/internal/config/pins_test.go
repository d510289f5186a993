package config_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/config"
)

// wired is everything that can hang on a pin, in the order in which it keeps it:
// who is named, and the key that is complained about.
var wired = []struct{ name, who, at string }{
	{"valve", `line "one"`, "lines.one.valve"},
	{"close-pin", `line "one"`, "lines.one.valve.close-pin"},
	{"second valve", `line "two"`, "lines.two.valve"},
	{"injector", `line "one"`, "lines.one.injector.pin"},
	{"second injector", `line "two"`, "lines.two.injector.pin"},
	{"meter", "the flow meter", "supply.meter.pin"},
	{"float", "the float", "supply.float.pin"},
	{"pump", "the pump", "supply.pump.pin"},
	{"rain gauge", "the rain gauge", "rain-gauge.pin"},
	{"lamp", "the lamp", "alarms.lamp.pin"},
}

// boardWith is a board on which thing i hangs on pins[i]; where is written beside
// a pin, such as its chip.
func boardWith(t *testing.T, pins []int, where []string) string {
	t.Helper()
	at := func(i int) string { return fmt.Sprintf("%d%s", pins[i], where[i]) }
	src := replace(t, small, "    valve: { pin: 17 }\n", fmt.Sprintf(
		"    valve: { pin: %s, close-pin: %d }\n    injector: { ratio: 1:100, pin: %s }\n", at(0), pins[1], at(3)))
	src = replace(t, src, "    valve: { pin: 27 }\n", fmt.Sprintf(
		"    valve: { pin: %s }\n    injector: { ratio: 1:100, pin: %s }\n", at(2), at(4)))
	src = replace(t, src, "supply:\n", fmt.Sprintf(
		"supply:\n  meter: { constant: 450 pulses/L, pin: %s }\n  float: { pin: %s }\n  pump: { pin: %s }\n", at(5), at(6), at(7)))
	return src + fmt.Sprintf("rain-gauge: { per-tip: 0.2 mm, pin: %s }\nalarms: { lamp: { pin: %s } }\n", at(8), at(9)) +
		"hardware: { kind: board, gpio-chip: pinctrl-main, i2c-bus: /dev/i2c-1 }\n"
}

func apart() (pins []int, where []string) {
	for i := range wired {
		pins = append(pins, 5+i)
	}
	return pins, make([]string, len(wired))
}

// TestTwoThingsOnOnePin tries every two things that can hang on a pin: what
// switches the one would switch the other past its guard.
func TestTwoThingsOnOnePin(t *testing.T) {
	pins, where := apart()
	_, _, err := config.Load("g.yaml", []byte(boardWith(t, pins, where)))
	require.NoError(t, err, "each on a pin of its own")
	for i, first := range wired {
		for j := i + 1; j < len(wired); j++ {
			second := wired[j]
			t.Run(first.name+" and "+second.name, func(t *testing.T) {
				pins, where := apart()
				pins[j] = pins[i]
				_, _, err := config.Load("g.yaml", []byte(boardWith(t, pins, where)))
				require.Error(t, err)
				assert.Contains(t, err.Error(), second.at+":")
				assert.Contains(t, err.Error(), fmt.Sprint(pins[i]))
				if first.name != "valve" || second.name != "close-pin" { // one valve's two pulses have words of their own
					assert.Contains(t, err.Error(), "that "+first.who+" does not use")
				}
				assert.Equal(t, 1, strings.Count(err.Error(), "g.yaml:"), "one slip, one message: %v", err)

				if second.name == "close-pin" {
					return // it is on its valve's chip
				}
				where[j] = ", chip: pinctrl-main"
				_, _, err = config.Load("g.yaml", []byte(boardWith(t, pins, where)))
				assert.Error(t, err, "the hardware's chip by its name is the same chip")
				where[j] = ", chip: expander"
				_, _, err = config.Load("g.yaml", []byte(boardWith(t, pins, where)))
				assert.NoError(t, err, "the same number on another chip is another pin")
			})
		}
	}
}

// TestThreeThingsOnOnePin tells the second and the third.
func TestThreeThingsOnOnePin(t *testing.T) {
	pins, where := apart()
	pins[6], pins[9] = pins[2], pins[2]
	_, _, err := config.Load("g.yaml", []byte(boardWith(t, pins, where)))
	require.Error(t, err)
	assert.Contains(t, err.Error(), "supply.float.pin:")
	assert.Contains(t, err.Error(), "alarms.lamp.pin:")
	assert.Equal(t, 2, strings.Count(err.Error(), `that line "two" does not use`))
}

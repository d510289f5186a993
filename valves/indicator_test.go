package valves_test

import (
	"errors"
	"testing"
	"time"

	"fabricpot/valves"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpiotest"
	"pgregory.net/rapid"
)

// lampPin is a pin that may refuse.
type lampPin struct {
	gpiotest.Pin
	refuses bool
}

func (p *lampPin) Out(l gpio.Level) error {
	if p.refuses {
		return errors.New("no such line")
	}
	return p.Pin.Out(l)
}

// TestIndicatorGoesDark: whatever is asked of it, it is never on longer than the
// longest of its lights, nor shorter, and dark at once when told so.
func TestIndicatorGoesDark(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pin := &lampPin{Pin: gpiotest.Pin{N: "lamp", L: gpio.High}}
		low := rapid.Bool().Draw(t, "active low")
		most := time.Duration(rapid.IntRange(1, 600).Draw(t, "most")) * time.Second
		i, err := valves.NewIndicator(pin, low, most)
		require.NoError(t, err)
		require.NoError(t, i.Dark(), "whatever it was before")
		lit := func() bool { return pin.Read() == gpio.Level(!low) }
		require.False(t, lit())
		now, bound := time.Duration(0), time.Duration(-1)
		for range rapid.IntRange(1, 60).Draw(t, "steps") {
			now += time.Duration(rapid.IntRange(1, 120).Draw(t, "seconds")) * time.Second
			pin.refuses = rapid.IntRange(0, 9).Draw(t, "refuses") == 0
			switch rapid.IntRange(0, 3).Draw(t, "what") {
			case 0:
				long := time.Duration(rapid.IntRange(-10, 1000).Draw(t, "long")) * time.Second
				if err := i.Light(now, long); err != nil {
					bound = now
				} else if long > 0 {
					bound = max(bound, now+min(long, most))
					assert.True(t, lit())
				}
			case 1:
				bound = now
				if i.Dark() == nil {
					assert.False(t, lit())
				}
			}
			if i.Advance(now) == nil && !pin.refuses && now >= bound {
				assert.False(t, lit(), "at %v, due at %v", now, bound)
			}
			if now < bound {
				assert.True(t, lit(), "at %v, due at %v", now, bound)
			}
		}
	})
}

func TestIndicatorLimits(t *testing.T) {
	for _, most := range []time.Duration{0, -1, valves.MostLit + 1} {
		_, err := valves.NewIndicator(&gpiotest.Pin{}, false, most)
		assert.Error(t, err)
	}
}

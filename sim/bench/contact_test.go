package bench

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

// A meter that runs evenly at one pulse a second, seen through each fault.
func TestContactFaults(t *testing.T) {
	for _, c := range []struct {
		name   string
		fault  ContactFault
		amount float64
		lo, hi uint64
		err    bool
	}{
		{"healthy", ContactHealthy, 0, 3600, 3600, false},
		{"bounces are left out", ContactBounces, 3, 3600, 3600, false},
		{"doubles are counted: nobody can tell them", ContactDoubles, 1, 7200, 7200, false},
		{"what is lost is added", ContactLoses, 0.3, 3590, 3600, false},
		{"dead", ContactDead, 0, 0, 0, false},
		{"welded", ContactWelded, 0, 0, 0, false},
		{"ghosts come on top", ContactGhosts, 100, 3700, 3700, false},
		{"gone", ContactGone, 0, 0, 0, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			clk := NewClock(0)
			k := NewCounter(clk, 1, 12*time.Millisecond, func() float64 { return clk.Now().Seconds() })
			k.Fail(c.fault, c.amount)
			for range 60 {
				clk.Sleep(time.Minute)
				k.Pulses()
			}
			p := k.Pulses()
			assert.GreaterOrEqual(t, p.Total, c.lo)
			assert.LessOrEqual(t, p.Total, c.hi)
			assert.Equal(t, c.err, p.Err != nil)
			assert.Equal(t, c.fault == ContactBounces, p.Bounced > 0)
			assert.Equal(t, c.fault == ContactLoses, p.Lost > 900)
			k.Fail(ContactHealthy, 0)
			clk.Sleep(time.Minute)
			assert.InDelta(t, float64(p.Total+60), float64(k.Pulses().Total), 10, "it counts on where it mends, and nothing comes later")
		})
	}
}

func TestFloatContact(t *testing.T) {
	clk, wet := NewClock(0), true
	k := NewSwitch(clk, func() bool { return wet })
	for _, c := range []struct {
		fault     ContactFault
		wet, want bool
		err       bool
	}{
		{ContactHealthy, true, true, false}, {ContactHealthy, false, false, false},
		{ContactDead, true, false, false}, {ContactWelded, false, true, false}, {ContactGone, true, false, true},
	} {
		k.Fail(c.fault, 0)
		wet = c.wet
		got, err := k.Closed()
		assert.Equal(t, c.want, got)
		assert.Equal(t, c.err, err != nil)
	}
}

package runner

import (
	"context"
	"runtime"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
)

// trapClock panics in the one goroutine that runs that function, once it is set.
type trapClock struct {
	testClock
	within string
	set    *atomic.Bool
}

func (c trapClock) Moment() garden.Moment {
	if c.set.Load() {
		at := make([]uintptr, 16)
		frames := runtime.CallersFrames(at[:runtime.Callers(2, at)])
		for f, more := frames.Next(); ; f, more = frames.Next() {
			if strings.HasSuffix(f.Function, c.within) {
				panic("trapped")
			}
			if !more {
				break
			}
		}
	}
	return c.testClock.Moment()
}

// TestAPanicClosesEveryLine: whichever goroutine of the three panics while a line is
// open, the line is closed at once and Drive ends with the panic as its error. The
// two beside the rounds do so while a bus holds the round up; for the one that ends
// pulses nobody else is left then to close anything.
func TestAPanicClosesEveryLine(t *testing.T) {
	for _, where := range []string{".rounds", ".endPulses", ".readGauges"} {
		t.Run(where, func(t *testing.T) {
			r := newRig(t)
			ctx, stop := context.WithCancel(context.Background())
			defer stop()
			clock := trapClock{testClock{time.Now()}, where, new(atomic.Bool)}
			in := NewInbox()
			ended := make(chan error, 1)
			go func() {
				_, err := Drive(ctx, r.loop, in, clock, 10*time.Millisecond, nil)
				ended <- err
			}()
			require.NoError(t, in.Do(ctx, func(now garden.Moment) {
				r.loop.Ask(now, garden.Ask{Kind: garden.AskWater, Zone: "chilli", Litres: 2})
			}))
			require.Eventually(t, func() bool { return r.level("chilli") == gpio.High }, 20*time.Second, 5*time.Millisecond, "the wish was to open the line")
			if where != ".rounds" {
				require.NoError(t, in.Do(ctx, func(garden.Moment) { r.hang = true }))
				<-r.slow
			}
			require.Equal(t, gpio.High, r.level("chilli"))

			clock.set.Store(true)
			assert.Eventually(t, func() bool { return r.level("chilli") == gpio.Low }, 5*time.Second, 5*time.Millisecond)
			close(r.block)
			select {
			case err := <-ended:
				assert.ErrorContains(t, err, "panic: trapped")
			case <-time.After(30 * time.Second):
				t.Fatal("goes on after a panic")
			}
			assert.Equal(t, gpio.Low, r.level("chilli"))
		})
	}
}

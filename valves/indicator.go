package valves

import (
	"fmt"
	"sync"
	"time"

	"periph.io/x/conn/v3/gpio"
)

// MostLit is the longest an indicator may be on without being lit anew.
const MostLit = 24 * time.Hour

// Indicator is a lamp or buzzer behind a driver stage on an output pin of its
// own. Water never depends on it and it never is a valve: it can't be made into an
// Actuator, the garden file refuses a pin that a line uses, and the kernel a pin
// that a coil holds. It stands here because nothing outside this package moves a
// pin. Like a valve it has a deadline: it goes dark by itself.
//
// Its methods may be called from any goroutine. Time is the caller's monotonic
// clock; the caller owes Dark at the start and at the end, and Advance every
// second or so.
type Indicator struct {
	pin     gpio.PinOut
	on, off gpio.Level
	most    time.Duration

	mu    sync.Mutex
	lit   bool // or not known to be dark
	until time.Duration
}

// NewIndicator returns the indicator on that pin, on for most at a time, over 0
// and at most MostLit. The pin is not touched.
func NewIndicator(pin gpio.PinOut, activeLow bool, most time.Duration) (*Indicator, error) {
	if most <= 0 || most > MostLit {
		return nil, fmt.Errorf("valves: an indicator on for %v: expected over 0 and at most %v", most, MostLit)
	}
	on := gpio.High
	if activeLow {
		on = gpio.Low
	}
	return &Indicator{pin: pin, on: on, off: !on, most: most, lit: true}, nil
}

// Light switches it on until long after now, or for its longest time where that
// is shorter; a light that stands for longer goes on. An error leaves it commanded
// dark.
func (i *Indicator) Light(now, long time.Duration) error {
	i.mu.Lock()
	defer i.mu.Unlock()
	if long <= 0 {
		return nil
	}
	// Never beyond most from now: until was no later when it was set.
	i.lit, i.until = true, max(i.until, now+min(long, i.most))
	if err := i.pin.Out(i.on); err != nil {
		i.until = now
		_ = i.dark() // repeated by Advance until it works
		return fmt.Errorf("valves: light %s: %w", i.pin, err)
	}
	return nil
}

// Advance switches it off when its time is over, and goes on trying where that
// failed.
func (i *Indicator) Advance(now time.Duration) error {
	i.mu.Lock()
	defer i.mu.Unlock()
	if !i.lit || now < i.until {
		return nil
	}
	return i.dark()
}

// Dark switches it off.
func (i *Indicator) Dark() error {
	i.mu.Lock()
	defer i.mu.Unlock()
	i.until = 0
	return i.dark()
}

func (i *Indicator) dark() error {
	if err := i.pin.Out(i.off); err != nil {
		i.lit = true
		return fmt.Errorf("valves: darken %s: %w", i.pin, err)
	}
	i.lit = false
	return nil
}

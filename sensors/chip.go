package sensors

import (
	"fmt"
	"time"

	"fabricpot/control/garden"
)

// Pauses before a converter that failed is opened again: at once, then half a
// minute, then doubling. A stuck bus can cost seconds per try on a real kernel.
const (
	firstPause  = time.Second
	secondPause = 30 * time.Second
	longPause   = 5 * time.Minute
	// failuresToClose is how many bursts must fail running before a converter
	// is given up, so that one dead channel does not take its neighbours along.
	failuresToClose = 2
)

// chip is one converter and its way back after a failure.
type chip struct {
	input    garden.Input // of its first probe
	reader   VoltReader   // nil while down
	fails    int          // bursts running
	pause    time.Duration
	retryAt  time.Duration
	lastErr  error
	opens    uint64
	failures uint64

	answering bool
	since     garden.Moment // when answering last changed, if asked
	asked     bool
	// conversions were asked for, failed is how many of them failed.
	conversions, failed uint64
}

// ready reports whether the converter may be asked, opening it where it is due.
func (c *chip) ready(now garden.Moment, open func(garden.Input) (VoltReader, error)) bool {
	if c.reader != nil {
		return true
	}
	if now.Mono < c.retryAt {
		return false
	}
	c.opens++
	r, err := open(c.input)
	if err == nil && r == nil {
		err = errChipDown
	}
	if err != nil {
		c.failures++
		c.down(now, err)
		return false
	}
	c.reader, c.fails = r, 0
	return true
}

func (c *chip) worked(now garden.Moment) {
	c.fails, c.pause, c.lastErr = 0, 0, nil
	c.turn(now, true)
}

// turn notes when a converter begins or ceases to answer. A dead channel beside
// living ones is no turn.
func (c *chip) turn(now garden.Moment, answering bool) {
	if !c.asked || c.answering != answering {
		c.asked, c.answering, c.since = true, answering, now
	}
}

func (c *chip) burstFailed(now garden.Moment, err error) {
	c.failures++
	c.fails++
	c.lastErr = err
	if c.fails >= failuresToClose {
		c.down(now, err)
	}
}

func (c *chip) down(now garden.Moment, err error) {
	c.reader, c.lastErr = nil, err
	c.turn(now, false)
	switch {
	case c.pause == 0:
		c.pause = firstPause
	case c.pause < secondPause:
		c.pause = secondPause
	default:
		c.pause = min(2*c.pause, longPause)
	}
	c.retryAt = now.Mono + c.pause
}

func (c *chip) err() error {
	if c.lastErr != nil {
		return c.lastErr
	}
	return errChipDown
}

// ProbeStats tells how a probe has been answering.
type ProbeStats struct {
	Probe garden.ProbeID
	// Answers and Failures count samples since the start.
	Answers, Failures uint64
	// LastAnswer is when it answered last, if Answered.
	LastAnswer garden.Moment
	Answered   bool
	// Err is why it did not answer the last time it was asked.
	Err error
}

// ChipStats tells how a converter has been answering.
type ChipStats struct {
	Bus  string
	Addr uint16
	// Up is false while it is left alone.
	Up bool
	// Opens counts how often it was opened, Failures what went wrong.
	Opens, Failures uint64
	// Conversions counts what was asked of it since the start, Failed how many
	// of them failed.
	Conversions, Failed uint64
	// Answering tells whether it gives readings, or was given up until its next
	// try, since Since. Both are known once it was Asked.
	Answering, Asked bool
	Since            garden.Moment
	Err              error
}

func (c ChipStats) String() string {
	state := "up"
	if !c.Up {
		state = "down"
	}
	return fmt.Sprintf("converter %#x %s, %d failures", c.Addr, state, c.Failures)
}

// Probes appends the statistics of every probe, in garden.ProbeList's order.
func (s *Sampler) Probes(out []ProbeStats) []ProbeStats {
	for i := range s.probes {
		p := &s.probes[i]
		out = append(out, ProbeStats{
			Probe: p.id, Answers: p.answers, Failures: p.failures,
			LastAnswer: p.last.At, Answered: p.answered, Err: p.lastErr,
		})
	}
	return out
}

// Chips appends the statistics of every converter, in the order of its first
// probe.
func (s *Sampler) Chips(out []ChipStats) []ChipStats {
	for i := range s.chips {
		c := &s.chips[i]
		out = append(out, ChipStats{
			Bus: c.input.Bus, Addr: c.input.Addr, Up: c.reader != nil,
			Opens: c.opens, Failures: c.failures, Conversions: c.conversions, Failed: c.failed,
			Answering: c.answering, Asked: c.asked, Since: c.since, Err: c.lastErr,
		})
	}
	return out
}

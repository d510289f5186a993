package pulse

import (
	"fmt"
	"math"
	"time"

	"fabricpot/control/garden"
)

const (
	// impossibleFlow is how many times over what the supply carries nothing can
	// flow: beyond it something else is counted. A hose that came off stays
	// under it, since the supply bounds that too. Judgement.
	impossibleFlow = 4
	// flowOver is over how long a flow is judged.
	flowOver = 10 * time.Second
	// quietFor is how long an impossible count must be over before the meter is
	// believed again.
	quietFor = 10 * time.Minute
	// longestDead bounds the time after a pulse in which no other is believed.
	longestDead = 50 * time.Millisecond
	// lostFor is how long lost pulses stay a trouble that is told.
	lostFor = time.Hour
)

// Meter turns a flow meter's pulses into litres. One goroutine uses it.
type Meter struct {
	perL, mostLPH float64
	begun         bool
	from          uint64        // pulses at the beginning of the window
	since         time.Duration // its beginning
	doubtTill     time.Duration
	skipped       uint64 // impossible pulses, which were no water
	last          uint64
	lost          lostWatch
	err           error
}

// NewMeter returns the meter with that constant, pulses per litre, on a supply
// that carries at most so many L/h.
func NewMeter(perL, supplyLPH float64) (*Meter, error) {
	if !garden.Finite(perL) || perL <= 0 {
		return nil, fmt.Errorf("pulse: a meter with %v pulses per litre: expected more than 0", perL)
	}
	if !garden.Finite(supplyLPH) || supplyLPH <= 0 {
		return nil, fmt.Errorf("pulse: a meter on a supply of %v L/h: expected more than 0", supplyLPH)
	}
	return &Meter{perL: perL, mostLPH: impossibleFlow * supplyLPH}, nil
}

// DeadTime is how soon after one pulse a meter with that constant can't give
// another: half of what lies between pulses at an impossible flow, and no more
// than what a reed takes to settle.
func DeadTime(perL, supplyLPH float64) time.Duration {
	perSecond := perL * impossibleFlow * supplyLPH / 3600
	if !(perSecond > 0) {
		return 0
	}
	return time.Duration(min(float64(longestDead), float64(time.Second)/perSecond/2))
}

// Read takes the count at a monotonic time and gives the litres in all since the
// meter's beginning; absent where nothing is counted or what is counted can't be
// water.
func (m *Meter) Read(now time.Duration, p garden.Pulses) garden.Measured {
	m.err = p.Err
	m.lost.take(now, p)
	if !m.begun || now < m.since {
		m.begun, m.from, m.since, m.last = true, p.Total, now, p.Total
	}
	if over := now - m.since; over >= flowOver {
		lph := float64(p.Total-m.from) / m.perL / over.Hours()
		// Two pulses more or less say nothing about a meter of few.
		if lph > m.mostLPH && p.Total-m.from > 2 {
			m.doubtTill = now + quietFor
		}
		m.from, m.since = p.Total, now
	}
	if now < m.doubtTill {
		m.skipped += p.Total - m.last
	}
	m.last = p.Total
	if p.Err != nil || now < m.doubtTill {
		return garden.Measured{}
	}
	return garden.Known(float64(p.Total-m.skipped) / m.perL)
}

// Trouble says in words what is wrong at a time, "" where nothing is.
func (m *Meter) Trouble(now time.Duration) string {
	switch {
	case m.err != nil:
		return m.err.Error()
	case now < m.doubtTill:
		return fmt.Sprintf("it counts more than %.0f L/h, which the supply can't carry: look for a loose wire or a motor's wires beside it", m.mostLPH)
	}
	return m.lost.trouble(now)
}

// lostWatch notices pulses that were lost.
type lostWatch struct {
	known bool
	lost  uint64
	more  uint64
	at    time.Duration
}

func (l *lostWatch) take(now time.Duration, p garden.Pulses) {
	if l.known && p.Lost > l.lost {
		if now-l.at > lostFor {
			l.more = 0
		}
		l.more += p.Lost - l.lost
		l.at = now
	}
	l.known, l.lost = true, p.Lost
}

func (l *lostWatch) trouble(now time.Duration) string {
	if l.more == 0 || now-l.at > lostFor {
		return ""
	}
	return fmt.Sprintf("%d pulses were lost while the kernel's queue was full; they are counted, but not when they came", l.more)
}

// Interval is the longest time between two pulses while a line of that flow runs.
func Interval(perL, lph float64) time.Duration {
	if !(perL > 0 && lph > 0) {
		return math.MaxInt64
	}
	return time.Duration(min(float64(math.MaxInt64/2), 3600/(perL*lph)*float64(time.Second)))
}

package pulse

import (
	"fmt"
	"time"

	"fabricpot/control/garden"
)

const (
	// worstMinuteMM is the most rain measured in a minute: 31.2 mm at Unionville,
	// Maryland, on 4 July 1956 (WMO archive of extremes, from memory).
	worstMinuteMM = 31.2
	// worstHourMM bounds an hour: 305 mm fell at Holt, Missouri, in 42 minutes on
	// 22 June 1947 (the same, from memory). A gauge that says more counts
	// something else.
	worstHourMM = 305.0
	// rainQuietFor is how long an impossible count must be over before the gauge
	// is believed again.
	rainQuietFor = 6 * time.Hour
	// leastTipGap is what a bucket takes to swing.
	leastTipGap = 100 * time.Millisecond
)

// Rain turns a tipping bucket's tips into millimetres. One goroutine uses it.
type Rain struct {
	mmPerTip  float64
	begun     bool
	last      uint64
	at        time.Duration
	hours     [24]float64 // mm by hour, a ring on the monotonic clock
	hour      int64
	doubtTill time.Duration
	lost      lostWatch
	err       error
}

// NewRain returns the gauge whose bucket tips at that depth, mm; it refuses one
// that no gauge has.
func NewRain(mmPerTip float64) (*Rain, error) {
	if !garden.Finite(mmPerTip) || mmPerTip < 0.01 || mmPerTip > 10 {
		return nil, fmt.Errorf("pulse: a rain gauge of %v mm a tip: expected 0.01 to 10", mmPerTip)
	}
	return &Rain{mmPerTip: mmPerTip}, nil
}

// TipGap is the shortest time between two tips of such a bucket in the heaviest
// rain known: what follows sooner is the contact bouncing.
func TipGap(mmPerTip float64) time.Duration {
	return max(leastTipGap, time.Duration(mmPerTip/worstMinuteMM*float64(time.Minute)))
}

// Read takes the count at a monotonic time and gives the rain since the last
// look, mm. The first look measures nothing and is absent; so is one at which
// nothing is counted, or more than could fall, and what was counted then is
// never given later.
func (r *Rain) Read(now time.Duration, p garden.Pulses) garden.Measured {
	r.err = p.Err
	r.lost.take(now, p)
	before, since, begun := r.last, r.at, r.begun
	r.last, r.at, r.begun = p.Total, now, true
	r.turn(now)
	if !begun || p.Total < before || now < since {
		return garden.Measured{}
	}
	mm := float64(p.Total-before) * r.mmPerTip
	if most := worstMinuteMM * max(1, (now-since).Minutes()); mm > most+r.mmPerTip || r.LastHourMM()+mm > worstHourMM {
		r.doubtTill = now + rainQuietFor
	}
	if now < r.doubtTill || p.Err != nil {
		return garden.Measured{}
	}
	r.hours[r.hour%24] += mm
	return garden.Known(mm)
}

// turn clears the hours that began since the last look.
func (r *Rain) turn(now time.Duration) {
	h := int64(now / time.Hour)
	for range min(24, max(0, h-r.hour)) {
		r.hour++
		r.hours[r.hour%24] = 0
	}
	r.hour = h
}

// LastHourMM is what fell in this hour and the one before, mm; DayMM in the last
// 24 hours, whole ones.
func (r *Rain) LastHourMM() float64 { return r.hours[r.hour%24] + r.hours[(r.hour+23)%24] }

// DayMM is what fell in the last 24 whole hours, mm.
func (r *Rain) DayMM() float64 {
	var sum float64
	for _, mm := range r.hours {
		sum += mm
	}
	return sum
}

// Trouble says in words what is wrong at a time, "" where nothing is.
func (r *Rain) Trouble(now time.Duration) string {
	switch {
	case r.err != nil:
		return r.err.Error()
	case now < r.doubtTill:
		return "it counts more rain than ever fell: its contact bounces or a wire picks something up; it is not believed until that is over"
	}
	return r.lost.trouble(now)
}

package runner

import (
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"fabricpot/control"
	"fabricpot/control/alarm"
	"fabricpot/control/garden"
	"fabricpot/sensors/pulse"
)

// rained is what the garden's own gauge measured since the last tick, and how far
// the pots are told of it.
type rained struct {
	mm    garden.Measured
	trust pulse.Trust
}

// Gauges is what is measured of the water itself: between the supply and the
// lines, in the tank, and from the sky. Its methods may be called from any
// goroutine. On a board MeterL and Float are called from one that reads gauges
// alone, and may hang without keeping a line open; the others return at once.
type Gauges interface {
	// MeterL is what a flow meter on the supply has counted in all, litres;
	// absent where there is none or it can't be believed.
	MeterL(now garden.Moment) garden.Measured
	// TankL is what the tank holds, litres, reserve included.
	TankL() garden.Measured
	// Float is what a float switch in the tank says.
	Float(now garden.Moment) garden.Float
	// RainMM is the rain since it was last asked, mm; absent where there is no
	// gauge or it can't be believed.
	RainMM(now garden.Moment) garden.Measured
	// Worries are what a person should know of them.
	Worries(now garden.Moment) []Worry
}

// gauged is when meter and float were last read, and what the float said. They may
// be read from more than one goroutine: a count that is read first and told last
// would look like a meter that began anew.
type gauged struct {
	mu    sync.Mutex
	begun bool
	at    time.Duration
	float atomic.Int32
}

// count tells the guard what meter and float say. A garden without a meter never
// tells of one, so that pulses go by nominal flow.
func (l *Loop) count(now garden.Moment) {
	if l.p.Gauges == nil {
		return
	}
	g := &l.gauged
	g.mu.Lock()
	defer g.mu.Unlock()
	if ago := g.at - now.Mono; g.begun && ago > 0 && ago < countedJustNow {
		return // the other goroutine came first, and knows better
	}
	g.begun, g.at = true, now.Mono
	f := l.p.Gauges.Float(now)
	g.float.Store(int32(f))
	if f != garden.NoFloat {
		l.p.Guard.Float(now, f)
	}
	if l.metered {
		l.p.Guard.Meter(now, l.p.Gauges.MeterL(now))
	}
}

// gauge takes in what is measured of tank and rain.
func (l *Loop) gauge(now garden.Moment) {
	if l.p.Gauges == nil {
		return
	}
	l.obs.TankL = l.p.Gauges.TankL()
	// A gauge on the terrace knows better than a station elsewhere.
	l.rained.mm = l.p.Gauges.RainMM(now)
	if l.rained.mm.Known {
		l.obs.Now.RainMM = garden.Known(l.rained.trust.Take(now.Mono, l.rained.mm.Value))
	}
}

// unveil lets what is recorded be what was measured, once the pots were told
// what of it they may be.
func (l *Loop) unveil() {
	if l.rained.mm.Known {
		l.obs.Now.RainMM = l.rained.mm
	}
}

// came tells the guard of water that probes saw come and no meter counted.
func (l *Loop) came(now garden.Moment) {
	for _, e := range l.p.State.Events() {
		if e.Kind == control.WaterCame {
			l.p.Guard.WaterCame(now)
		}
	}
}

// countedJustNow is how much older than the last reading a moment may be without
// the clock having run backwards.
const countedJustNow = time.Minute

// worry tells the book of gauges in doubt, an empty tank and a dry pump.
func (l *Loop) worry(now garden.Moment) {
	if l.p.Gauges == nil {
		return
	}
	for _, w := range l.p.Gauges.Worries(now) {
		l.watch.hold(now, w.Kind, w.Subject, w.Text)
	}
	p := l.p.Guard.Pump(now)
	l.watch.floatDoubted = p.FloatDoubted
	// What it said when it was read: this round's time may be long past, and a float
	// that is asked about the past says that the tank is empty.
	if garden.Float(l.gauged.float.Load()) == garden.FloatDown {
		says := "the float says that it is empty, or its wire is broken"
		if p.FloatDoubted {
			says = "the float says that it is empty, but the meter counts what lines give: its wire is broken or it hangs, or it is the last of the water; lines are watered while the meter counts"
		}
		l.watch.hold(now, alarm.TankLow, "", says)
	}
	if p.MeterDoubted {
		l.watch.hold(now, alarm.GaugeDoubtful, meterName, meterName+": it shows no flow while the pump runs, where float and probes, as far as they can tell, say that water comes; lines are watered by their rated flow until it counts: mend it soon, the float alone keeps the pump from running dry")
	}
	// A line with an alarm of its own is why the pump gave none where no other was tried
	// since.
	if p.DryRuns > 0 && !l.watch.dryAlone(p.DryLines) {
		// Its rest being over proves nothing: only flow does.
		next := "it is tried with the next order"
		if p.LockedFor > 0 {
			next = fmt.Sprintf("it rests for %v", p.LockedFor.Round(time.Minute))
		}
		l.watch.hold(now, alarm.PumpDry, "", fmt.Sprintf("no flow was counted while it ran%s, %d times in a row; %s", l.watch.forLines(p.DryLines), p.DryRuns, next))
	}
}

package valves

import (
	"math"
	"slices"
	"time"

	"fabricpot/control/garden"
)

// A float whose wire is broken says the same as an empty tank, and pots must not die of
// thirst beside a full one. Where a meter answers, one opening tries what is so, seldom
// enough for a pump that is dry after all; once the meter counts, water is given for as
// long as it does.
const (
	// floatTries is how long a float must have said that the tank is empty before an
	// opening tries, and how long it is until the next after one without flow.
	floatTries = 6 * time.Hour
	// floatProof is how long lines may run for that without flow where there is no
	// pump, which has a limit of its own.
	floatProof = 5 * time.Minute
	// flowShare is what of the open lines' rated flow the meter must count for a
	// proof: a contact that chatters counts less.
	flowShare = 1.0 / 3
)

// lowFloat is what the guard makes of a float that says that the tank is empty.
type lowFloat struct {
	// within is how long lines may run without flow, leastL what a proof of flow
	// counts at least, L.
	within time.Duration
	leastL float64

	told   bool          // the float was asked at all
	tryAt  time.Duration // monotonic: from when on the next opening may try
	proven bool          // the meter counted in the last opening that ran long enough
	// running tells that a line is open that may be. dry is how long lines have been
	// open without a proof, seenAt up to when that is reckoned, countedL what was
	// counted meanwhile.
	running  bool
	dry      time.Duration
	seenAt   time.Duration
	countedL float64
}

func newLowFloat(g *garden.Garden) lowFloat {
	l := lowFloat{within: floatProof, leastL: provingL(g), tryAt: math.MaxInt64}
	if p := g.Supply.Pump; p.Fitted {
		l.within = p.FlowWithin
		return l
	}
	for i := range g.Lines { // a meter of few pulses takes longer
		l.within = max(l.within, onTime(leastPulses/g.Supply.MeterPulsesPerL.Or(1), g.Lines[i].FlowLPH()))
	}
	return l
}

// Float tells the guard what the tank's float says. With none fitted it may be
// left out. FloatDown ends every pulse at once and refuses new ones, but for what a
// meter proves.
func (g *Guard) Float(now garden.Moment, f garden.Float) {
	g.mu.Lock()
	defer g.mu.Unlock()
	l := &g.low
	if f != g.float || !l.told {
		*l = lowFloat{within: l.within, leastL: l.leastL, told: true, tryAt: now.Mono + floatTries}
	}
	g.float = f
	if f == garden.FloatDown {
		g.closeDue(now)
	}
}

// tankEmpty reports whether a float keeps an order shut. Feed is given only where the
// meter counted before. The lock is held.
func (g *Guard) tankEmpty(now garden.Moment, o garden.Order) bool {
	if g.float != garden.FloatDown {
		return false
	}
	return !g.mayRun(now) || !g.low.proven && (o.Doses() || o.Kind == garden.Commission || g.anyPulse(now))
}

// anyPulse reports whether a line has a pulse, but for those that nobody could close
// for long: of theirs no try would ever be free. The lock is held.
func (g *Guard) anyPulse(now garden.Moment) bool {
	return slices.ContainsFunc(g.lines, func(ln *line) bool { return ln.pulse != nil && !ln.unsure(now) })
}

// mayRun reports whether a line may open although the float says that the tank is
// empty. The lock is held.
func (g *Guard) mayRun(now garden.Moment) bool {
	l := &g.low
	return l.within > 0 && g.metered(now) && (l.proven || now.Mono >= l.tryAt)
}

// startedLow notes that a line was opened. The lock is held.
func (g *Guard) startedLow(now garden.Moment) {
	l := &g.low
	if g.float != garden.FloatDown || l.running || !g.mayRun(now) {
		return
	}
	l.running, l.seenAt = true, g.latest(now)
	if !l.proven {
		l.dry, l.countedL, l.tryAt = 0, 0, l.seenAt+floatTries
	}
}

// countedLow notes what the meter counted. The lock is held.
func (g *Guard) countedLow(now garden.Moment, litres float64) {
	l := &g.low
	if !l.running {
		return
	}
	l.spend(now)
	l.countedL += litres
	if l.countedL >= max(l.leastL, flowShare*nominal(g.openLPH(), l.dry)) {
		l.proven, l.dry, l.countedL = true, 0, 0
	}
}

// floatEnds reports whether what runs must end for the float: dry where it ran
// without flow for too long. The lock is held.
func (g *Guard) floatEnds(now garden.Moment) (ends, dry bool) {
	l := &g.low
	if g.float != garden.FloatDown {
		return false, false
	}
	if !l.running {
		return true, false
	}
	l.spend(now)
	if g.openLPH() == 0 {
		l.running = false
	}
	if l.dry < l.within {
		return false, false
	}
	l.running, l.proven, l.dry, l.countedL = false, false, 0, 0
	l.tryAt = now.Mono + floatTries
	return true, true
}

// spend reckons the time that lines were open. The lock is held.
func (l *lowFloat) spend(now garden.Moment) {
	l.dry += max(0, now.Mono-l.seenAt)
	l.seenAt = max(l.seenAt, now.Mono) // a round that took long asks with its own moment
}

// floatDeadline is when lines that run under a float that is down must have shown
// flow. The lock is held.
func (g *Guard) floatDeadline() (time.Duration, bool) {
	l := &g.low
	return l.seenAt + l.within - l.dry, l.running && g.float == garden.FloatDown && g.openLPH() > 0
}

// openLPH is what the open lines give by their rating, L/h. The lock is held.
func (g *Guard) openLPH() (sum float64) {
	for _, ln := range g.lines {
		if ln.pulse != nil && ln.pos == open {
			sum += ln.flowLPH
		}
	}
	return sum
}

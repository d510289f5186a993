package valves

import (
	"errors"
	"fmt"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"fabricpot/control/garden"
)

// Options tune a guard. The zero value is sound.
type Options struct {
	// PeakNeedL is the most each line may have to give in a day, litres through
	// the whole line; its cap is Limits.DailyFactor times that. A line not
	// listed lives on a built-in estimate from its pots' size.
	PeakNeedL map[garden.LineID]float64
	// DryFillL is what each line gives to fill its driest possible pot, litres
	// through the whole line: its cap is no less than that and one peak need.
	// More than its pots' whole volume is not believed. Absent means nothing.
	DryFillL map[garden.LineID]float64
	// Margin is how much longer than its nominal time a pulse may take where a
	// meter ends it, 1..2; 0 means 1.25.
	Margin float64
}

const (
	defaultMargin = 1.25
	// hardMaxOn bounds every opening, whatever the garden file says.
	hardMaxOn = 4 * time.Hour
	// remembered is how many granted orders are kept to refuse repeats.
	remembered = 256
	// backlog is how many outcomes wait for a journal that can't be written.
	backlog = 512
)

// line is the guard's own record of one line.
type line struct {
	id      garden.LineID
	act     Actuator
	flowLPH float64
	maxDose time.Duration
	// leastOn is the shortest its valve can open for, 0 for any.
	leastOn time.Duration
	// flowProof is how soon a meter must count while the injector runs, 0 for no
	// proof.
	flowProof time.Duration
	// provingL is how much it must count for that, L.
	provingL float64
	bounds   // in force
	file     lately[bounds]
	again    again

	pos position
	// pulse is the opening in progress; it outlives pos == open until the
	// close is confirmed. nil where nothing was opened.
	pulse *pulse
	// Of a close that is not confirmed yet.
	attempts  int
	failures  int
	retryAt   time.Duration
	lastErr   error
	since     time.Duration // when the first close of this episode was commanded
	charges   charges
	closed    bool // lastClose means something
	lastClose stamp
	heldUntil time.Duration
	// owed is what earlier runs left unfinished, until a close is confirmed.
	owed []owing
	// unwrittenL is what was given while the journal could not be written.
	unwrittenL float64
}

// pulse is one opening.
type pulse struct {
	order    garden.Order // as permitted
	openedAt garden.Moment
	due      time.Duration // nominal end
	deadline time.Duration
	live     *atomic.Bool
	byMeter  bool
	meteredL float64
	own      ownFlow
	end      garden.Ending
	dose     dosing
	// pumpDry: ended since the pump showed no flow; tankLow: since the float fell.
	pumpDry, tankLow bool
	most             mostL
	// unwritten: given on the no-journal budget.
	unwritten bool
}

// Guard keeps the lines. All its methods may be called from any goroutine.
type Guard struct {
	margin float64
	ledger Ledger
	// acts never changes, so that CloseEverything needs no lock.
	acts []Actuator

	// asking is held for a whole request and for every use of the ledger, so
	// that mu, which Advance needs, is never held while a card writes.
	asking sync.Mutex

	// latched refuses every opening: set by CloseEverything without the lock,
	// and withdrawn by CloseAll once it has commanded every line.
	latched atomic.Bool
	sealed  atomic.Bool

	mu    sync.Mutex
	lines []*line
	// closing is the same lines in the order they are closed in where several are
	// due: those with a plain coil first, since a latching valve's pulse holds up
	// what comes after it.
	closing []*line
	rules   rules // in force
	file    lately[rules]
	// ended waits for the next Advance to return it, unsettled for Flush.
	ended     []garden.Delivery
	unsettled []garden.Delivery
	lost      int // outcomes dropped because the backlog was full
	granted   [remembered]garden.OrderID
	grantedN  int
	ledgerErr error
	meter     meter
	// seen is when Advance or Meter was last called: nearer to the clock than the
	// moment of a round that took long before it asked for an opening.
	seen  time.Duration
	pump  pump
	float garden.Float
	low   lowFloat
	// steps are those of the wall clock, walls what ages of earlier runs' moments are
	// reckoned by.
	steps steps
	walls anchor
}

// NewGuard returns a guard over the garden's lines. A line without an actuator
// is Unassigned. It refuses a garden whose limits would leave a line unbounded.
// No coil is touched until CloseAll.
func NewGuard(g *garden.Garden, act map[garden.LineID]Actuator, l Ledger, o Options) (*Guard, error) {
	if g == nil || l == nil {
		return nil, errors.New("valves: a guard needs a garden and a ledger")
	}
	if o.Margin == 0 {
		o.Margin = defaultMargin
	}
	if !(o.Margin >= 1 && o.Margin <= 2) {
		return nil, fmt.Errorf("valves: margin is %v, expected 1 to 2", o.Margin)
	}
	if g.Limits.MaxOn <= 0 {
		return nil, fmt.Errorf("valves: limits: the longest opening is %v, expected more than 0", g.Limits.MaxOn)
	}
	if !(g.Limits.DailyFactor >= 2) || !garden.Finite(g.Limits.DailyFactor) {
		return nil, fmt.Errorf("valves: limits: the daily factor is %v, expected at least 2", g.Limits.DailyFactor)
	}
	if !(g.Supply.FlowLPH > 0) || !garden.Finite(g.Supply.FlowLPH) {
		return nil, fmt.Errorf("valves: the supply carries %v L/h, expected more than 0", g.Supply.FlowLPH)
	}
	for id := range act {
		if _, ok := g.Line(id); !ok {
			return nil, fmt.Errorf("valves: a valve was given for line %q, which the garden does not have", id)
		}
	}
	gd := &Guard{margin: o.Margin, ledger: l, rules: rulesOf(g), file: lately[rules]{now: rulesOf(g)}, pump: pump{Pump: g.Supply.Pump}, low: newLowFloat(g)}
	if p := g.Supply.Pump; p.Fitted && (p.MaxRun <= 0 || p.FlowWithin < 0) {
		return nil, fmt.Errorf("valves: a pump that may run %v and show no flow for %v: expected more than 0, and 0 or more", p.MaxRun, p.FlowWithin)
	}
	if g.Supply.Float.Fitted {
		gd.float = garden.FloatDown // until somebody has looked
	}
	for i := range g.Lines {
		ln, err := newLine(g, &g.Lines[i], act[g.Lines[i].ID], o)
		if err != nil {
			return nil, err
		}
		gd.lines = append(gd.lines, ln)
	}
	for _, latching := range []bool{false, true} {
		for _, ln := range gd.lines {
			if ln.again.latching == latching {
				gd.closing = append(gd.closing, ln)
			}
		}
	}
	for _, ln := range gd.closing {
		gd.acts = append(gd.acts, ln.act)
	}
	return gd, nil
}

func newLine(g *garden.Garden, gl *garden.Line, act Actuator, o Options) (*line, error) {
	ln := &line{id: gl.ID, act: act, flowLPH: gl.FlowLPH()}
	ln.maxOn, ln.doses = min(g.Limits.MaxOn, hardMaxOn), max(0, g.Limits.NoJournalDoses)
	if act == nil {
		ln.act = Unassigned{}
	}
	ln.leastOn = leastOnOf(ln.act)
	ln.maxDose = max(0, gl.Injector.MaxRun)
	ln.again.latching = gl.Valve.Latch != nil
	ln.flowProof, ln.provingL = proofTime(g, gl), provingL(g)
	if gl.MaxOn > 0 {
		ln.maxOn = min(ln.maxOn, gl.MaxOn)
	}
	if !(ln.flowLPH > 0) || !garden.Finite(ln.flowLPH) {
		return nil, fmt.Errorf("valves: line %q: its emitters give %v L/h, expected more than 0", gl.ID, ln.flowLPH)
	}
	peak, given := o.PeakNeedL[gl.ID]
	switch {
	case !given:
		peak = estimatePeakL(g, gl)
	case !(peak >= 0) || !garden.Finite(peak):
		return nil, fmt.Errorf("valves: line %q: peak need is %v L a day, expected a number from 0", gl.ID, peak)
	}
	fill := o.DryFillL[gl.ID]
	if !(fill >= 0) || !garden.Finite(fill) {
		return nil, fmt.Errorf("valves: line %q: filling its driest pot is %v L, expected a number from 0", gl.ID, fill)
	}
	ln.capL = max(g.Limits.DailyFactor*peak, min(fill, wholeL(g, gl))+peak)
	if gl.DailyCapL.Known {
		ln.capL = gl.DailyCapL.Value
	}
	ln.capL = min(ln.capL, ceilingL(g, gl))
	if !(ln.capL > 0) {
		return nil, fmt.Errorf("valves: line %q: its cap comes to %v L a day, expected more than 0: give its zones a volume or the line a daily cap", gl.ID, ln.capL)
	}
	ln.doseL = survivalL(g, gl)
	ln.file.now = ln.bounds
	return ln, nil
}

// index finds a line; the gardens this serves have tens of them.
func (g *Guard) index(id garden.LineID) (*line, bool) {
	i := slices.IndexFunc(g.lines, func(l *line) bool { return l.id == id })
	if i < 0 {
		return nil, false
	}
	return g.lines[i], true
}

// KeepShut stops the line and keeps it shut until that monotonic time; the last
// word counts. The
// delivery is the one it interrupted, if any; Advance does not return it again.
func (g *Guard) KeepShut(now garden.Moment, id garden.LineID, until time.Duration) (garden.Delivery, bool) {
	g.mu.Lock()
	if ln, ok := g.index(id); ok {
		ln.heldUntil = until
	}
	g.mu.Unlock()
	return g.Stop(now, id)
}

// Release ends keeping the line shut.
func (g *Guard) Release(id garden.LineID) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if ln, ok := g.index(id); ok {
		ln.heldUntil = 0
	}
}

// facts gathers what permit looks at. A line is not measured where another may
// take a share of what the supply carries. The lock is held.
func (g *Guard) facts(now garden.Moment, ln *line, asked garden.Order) facts {
	ln.charges = ln.charges.prune(now)
	spent, dose, spentUntil, doseUntil := ln.charges.sums(now)
	f := facts{
		now: now, pos: ln.pos, flowLPH: ln.flowLPH, maxOn: ln.maxOn, leastOn: ln.leastOn, maxDose: ln.maxDose, margin: g.margin,
		heldUntil: ln.heldUntil,
		capL:      ln.capL, spentL: spent, capUntil: spentUntil,
		doseL: ln.doseL, doseSpentL: dose, doseUntil: doseUntil,
		supply: g.rules.supply, tankReserveL: g.rules.tankReserveL,
		hours: g.rules.hours, frostC: g.rules.frostC,
		tankEmpty: g.tankEmpty(now, asked), pumped: g.pump.Fitted, pumpLeft: g.pumpLeft(now), pumpLocked: g.pump.lockedTill,
	}
	if ln.closed {
		f.restUntil = now.Mono + g.rules.minRest - ln.lastClose.age(now)
	}
	for _, other := range g.lines {
		if other == ln || other.pulse == nil && len(other.owed) == 0 {
			continue
		}
		d := draw{flowLPH: other.flowLPH, unsure: other.unsure(now) && asked.Kind != garden.Commission}
		if p := other.pulse; p != nil {
			d.until = p.deadline
			f.promisedL += max(0, nominal(other.flowLPH, p.deadline-now.Mono))
		}
		f.draws = append(f.draws, d)
	}
	return f
}

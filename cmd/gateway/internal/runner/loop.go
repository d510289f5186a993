package runner

import (
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"fabricpot/control"
	"fabricpot/control/garden"
	"fabricpot/sensors"
	"fabricpot/valves"
)

// Loop is one garden's assembly. One goroutine owns it and calls Begin, Tick,
// Ask, CloseAll and End; EndPulses alone may come from another.
type Loop struct {
	p      Parts
	word   clockWord
	silent bool // nobody is told and nothing is kept: skip the words

	obs    garden.Observed
	orders []garden.Order
	asks   []garden.Ask
	// shut is until when each zone is to be kept shut, on the monotonic clock.
	shut map[garden.ZoneID]time.Duration
	// pulsed is each line's last pulse of this run.
	pulsed map[garden.LineID]pulsed
	views  []control.ZoneView
	lines  []valves.Status
	chips  []sensors.ChipStats
	ticks  uint64

	rained rained

	watch watch
	// waiting are the wishes of a tick that found no room.
	waiting []control.Waiting
	feeds   feeds

	// metered is looked at by EndPulses too, and never changes.
	metered bool
	gauged  gauged
	// beside tells that Drive reads the gauges in a goroutine of its own.
	beside bool
	// pause is what a reload that waits does to new waterings.
	pause hold

	// learned is what earlier runs learnt, learnedAt when what was learnt was last kept,
	// on Mono.
	learned   control.Memory
	learnedAt time.Duration
	undated   *undated
	limits    keptLimits
	broken    broken

	// noted tells that this start is in the journal, crashed that a part of the loop
	// panicked: such a stop is in no good order.
	noted   bool
	crashed atomic.Bool
	budget  budget
	bare    bare

	// ended collects deliveries from EndPulses until the next tick.
	mu    sync.Mutex
	ended []garden.Delivery

	status atomic.Pointer[Status]
	// wanted tells that somebody reads Status; building it costs a little.
	publish bool
}

// New assembles a loop. It touches no device.
func New(p Parts) (*Loop, error) {
	switch {
	case p.Garden == nil || p.Plan == nil || p.State == nil:
		return nil, errors.New("runner: a loop needs a garden, its plan and a state")
	case p.Sampler == nil || p.Guard == nil || p.Sky == nil:
		return nil, errors.New("runner: a loop needs a sampler, a guard and a sky")
	}
	l := &Loop{p: p, silent: p.Journal == nil && p.Tell == nil, publish: true, shut: map[garden.ZoneID]time.Duration{}, pulsed: map[garden.LineID]pulsed{}}
	if p.Journal == nil {
		l.p.Journal = nothingKept{}
	}
	if p.Tell == nil {
		l.p.Tell = nobody{}
	}
	l.watch = newWatch(p.Garden)
	l.metered = p.Gauges != nil && p.Garden.Supply.MeterPulsesPerL.Known
	return l, nil
}

// pulsed is a pulse that ended.
type pulsed struct {
	open time.Duration
	at   time.Time
}

// Quiet stops publishing Status, for simulations that nobody watches.
func (l *Loop) Quiet() { l.publish = false }

// Begin closes every line and confirms it, before anything else, and then
// charges what earlier runs gave or may have given. Lines that did not confirm
// are told of and stay shut while the loop goes on with the others; an error
// means that the past can't be read, and nothing may be opened on a guess.
func (l *Loop) Begin(now garden.Moment) error {
	l.keep(l.p.Guard.CloseAll(now))
	if open := l.unheard(l.p.Guard.Unconfirmed()); len(open) > 0 {
		l.p.Tell.Failed(now, "confirm every line closed",
			fmt.Errorf("not confirmed: %v; shut their hand valves and look at the wiring", open))
	}
	if l.p.History == nil {
		l.openFeeds(now)
		return nil
	}
	l.started(now) // first of all: whatever comes next may be what crashes
	defer func() {
		if !l.bare.on {
			l.openFeeds(now)
		}
	}()
	last, err := l.p.History.LastOrderID()
	if err != nil {
		return fmt.Errorf("runner: the journal's last order: %w", err)
	}
	unfinished, err := l.p.History.Unfinished()
	if err != nil {
		return fmt.Errorf("runner: the journal's unfinished intents: %w", err)
	}
	past, err := l.p.History.Recent(now)
	if err != nil {
		return fmt.Errorf("runner: the journal's deliveries of the last day: %w", err)
	}
	standing, err := l.p.History.Standing(now.Wall)
	if err != nil {
		return fmt.Errorf("runner: the journal's standing requests: %w", err)
	}
	l.p.State.NextOrder = max(l.p.State.NextOrder, last+1)
	known := make([]garden.Delivery, 0, len(past)+len(unfinished))
	for _, d := range past {
		known = append(known, d.Delivery)
	}
	limits := l.recallLimits(now)
	charged := l.p.Guard.Restore(now, l.p.SinceBoot, unfinished, past)
	for _, d := range charged {
		l.p.Tell.Ended(d)
	}
	if limits == nil {
		limits = l.lost(now)
	}
	if limits != nil {
		return limits
	}
	l.keepLimits(now)
	if known = append(known, charged...); l.bare.on {
		l.barely(now, known)
	} else {
		l.recall(now)
		l.p.Plan.Restore(l.p.State, now, known)
		if l.undated != nil {
			l.undated.recent = known
		}
	}
	l.check(now, "settle what was unfinished", l.p.Guard.Flush())
	for _, a := range standing {
		// Never longer than it was asked for, whatever the clock says today.
		a.Until.Mono = now.Mono + min(a.Until.Mono, a.Until.Wall.Sub(now.Wall))
		l.obey(now, a)
	}
	return nil
}

// Remember keeps what was learnt; call it once, after the last End.
func (l *Loop) Remember(now garden.Moment) { l.memorise(now, true) }

// Status is the last published state, nil before the first tick. Any goroutine
// may call it.
func (l *Loop) Status() *Status { return l.status.Load() }

package valves

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"

	"fabricpot/control/garden"
)

// keptLimits is what versions of the garden file said, as it is kept across
// restarts. Without it a start would let a limit loosen at once that a reload had
// made wait for a day.
type keptLimits struct {
	Rules kept[rules] `json:"rules"`
	Lines []keptLine  `json:"lines"`
	Steps []clockStep `json:"clock_steps,omitempty"`
}

// keptLine is that of a line, with what makes it the same line.
type keptLine struct {
	Line    garden.LineID `json:"line"`
	FlowLPH float64       `json:"flow_l_per_h"`
	MaxDose time.Duration `json:"max_dose_ns"`
	Bounds  kept[bounds]  `json:"bounds"`
}

type kept[T any] struct {
	Now T             `json:"now"`
	Was []keptSaid[T] `json:"was,omitempty"`
}

type keptSaid[T any] struct {
	What   T             `json:"what"`
	Mono   time.Duration `json:"mono_ns"`
	Wall   time.Time     `json:"wall"`
	Synced bool          `json:"synced"`
	// Before tells that it was replaced before the run that kept it began, on
	// another clock.
	Before bool `json:"before,omitempty"`
}

// LimitsTurned counts how often anything changed of what Limits returns.
func (g *Guard) LimitsTurned() uint64 {
	g.mu.Lock()
	defer g.mu.Unlock()
	n := g.file.turned + g.steps.turned
	for _, ln := range g.lines {
		n += ln.file.turned
	}
	return n
}

// Limits is what the garden file says and what versions of it said that were
// replaced within the day, for Recall after a restart.
func (g *Guard) Limits() ([]byte, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	out := keptLimits{Rules: g.file.keep(), Steps: g.steps.was}
	for _, ln := range g.lines {
		out.Lines = append(out.Lines, keptLine{ln.id, ln.flowLPH, ln.maxDose, ln.file.keep()})
	}
	b, err := json.Marshal(out)
	if err != nil {
		return nil, fmt.Errorf("valves: limits to keep: %w", err)
	}
	return b, nil
}

// Recall has limits of earlier runs hold for what is left of their day: those that a
// reload replaced, and those of the last run where this one's garden file is another,
// which counts as replaced now. It tightens or changes nothing. A line that has
// another flow or injector than it had is another line, of which nothing is known.
// sameClock tells that they were kept on the clock of now. Call it once, before Restore,
// since it tells too how the wall clock was set meanwhile. After an error nothing has
// changed.
func (g *Guard) Recall(now garden.Moment, limits []byte, sameClock bool) error {
	var past keptLimits
	if err := json.Unmarshal(limits, &past); err != nil {
		return fmt.Errorf("valves: limits of earlier runs: %w", err)
	}
	// Less than all of it would be taken for limits that let nothing through.
	known := past.Rules.Now.supply.flowLPH > 0
	for _, k := range past.Lines {
		known = known && k.Bounds.Now.capL > 0 && k.Bounds.Now.maxOn > 0
	}
	if !known {
		return errors.New("valves: limits of earlier runs: they name no supply, or a line's without a cap or a longest opening: expected what Limits wrote")
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	g.steps.recall(now, past.Steps)
	g.walls.steps = slices.Clone(g.steps.was)
	// A supply that carries no more than this would keep a line of a garden that was
	// built anew shut for a day.
	var widest float64
	for _, ln := range g.lines {
		widest = max(widest, ln.flowLPH)
	}
	g.file.recall(now, past.Rules, sameClock, &g.walls, func(r rules) rules {
		r.supply.flowLPH = max(r.supply.flowLPH, widest)
		return r
	})
	for _, k := range past.Lines {
		if ln, ok := g.index(k.Line); ok && ln.flowLPH == k.FlowLPH && ln.maxDose == k.MaxDose {
			ln.file.recall(now, k.Bounds, sameClock, &g.walls, func(b bounds) bounds { return b })
		}
	}
	g.ready(now)
	return nil
}

func (l *lately[T]) keep() kept[T] {
	out := kept[T]{Now: l.now}
	for _, s := range l.was {
		out.Was = append(out.Was, keptSaid[T]{s.what, s.at.Mono, s.at.Wall, s.at.Synced, s.walls != nil})
	}
	return out
}

func (l *lately[T]) recall(now garden.Moment, past kept[T], sameClock bool, walls *anchor, fit func(T) T) {
	to := l.now
	for _, k := range past.Was {
		s := said[T]{what: fit(k.What), at: garden.Moment{Mono: k.Mono, Wall: k.Wall, Synced: k.Synced}}
		if !sameClock || k.Mono > now.Mono {
			s.at.Mono, k.Before = now.Mono, true
		}
		if k.Before && k.Synced {
			s.walls = walls
		}
		l.was = append(l.was, s)
	}
	l.now = fit(past.Now)
	l.turn(now, to)
}

// keptBounds and keptRules are bounds and rules with names that stay.
type keptBounds struct {
	CapL  float64       `json:"cap_l"`
	DoseL float64       `json:"dose_l"`
	MaxOn time.Duration `json:"max_on_ns"`
	Doses int           `json:"doses"`
}

func (b bounds) MarshalJSON() ([]byte, error) {
	return json.Marshal(keptBounds{b.capL, b.doseL, b.maxOn, b.doses})
}

func (b *bounds) UnmarshalJSON(text []byte) error {
	var k keptBounds
	if err := json.Unmarshal(text, &k); err != nil {
		return err
	}
	*b = bounds{k.CapL, k.DoseL, k.MaxOn, k.Doses}
	return nil
}

type keptRules struct {
	MinRest      time.Duration      `json:"min_rest_ns"`
	FrostC       float64            `json:"frost_c"`
	TankReserveL float64            `json:"tank_reserve_l"`
	SupplyLPH    float64            `json:"supply_l_per_h"`
	Hours        []garden.DayWindow `json:"hours,omitempty"`
}

func (r rules) MarshalJSON() ([]byte, error) {
	return json.Marshal(keptRules{r.minRest, r.frostC, r.tankReserveL, r.supply.flowLPH, r.hours})
}

func (r *rules) UnmarshalJSON(text []byte) error {
	var k keptRules
	if err := json.Unmarshal(text, &k); err != nil {
		return err
	}
	*r = rules{k.MinRest, k.FrostC, k.TankReserveL, supply{k.SupplyLPH}, k.Hours}
	return nil
}

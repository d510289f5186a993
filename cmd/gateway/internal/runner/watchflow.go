package runner

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"fabricpot/control/alarm"
	"fabricpot/control/garden"
	"fabricpot/valves"
)

const (
	// A pulse that gave this many times its nominal flow runs somewhere else,
	// one that gave so small a share of it did not run. Emitters age and spread
	// and pressure sags; all that stays well between. Common practice, no source.
	tooMuchFlow   = 1.6
	tooLittleFlow = 0.2
	// flowFrom is how long a line must have been open for its flow to be judged:
	// pipes fill first.
	flowFrom = 30 * time.Second
	// strayHalfLife and strayLeast make the meter of stray water: what ran with
	// every line closed is forgotten by half each half-life, and from this many
	// litres on it is an alarm. A leak under a quarter of a litre an hour never
	// gets there, nor does a counter that sees a pulse now and then.
	strayHalfLife = 30 * time.Minute
	strayLeast    = 0.2
)

// stray remembers what ran with all lines closed.
type stray struct {
	known  bool
	totalL float64
	recent float64
	at     time.Duration
}

// flow judges what the meter says about lines that run and lines that don't.
func (w *watch) flow(now garden.Moment, obs *garden.Observed, lines []valves.Status, strayL float64) {
	if !w.supply.MeterPulsesPerL.Known {
		return
	}
	w.together(obs, lines)
	for i := range obs.Delivered {
		d := &obs.Delivered[i]
		if d.DoseDry {
			if w.book.Holds(alarm.GaugeDoubtful, meterName) {
				continue // nobody could have shown it a flow
			}
			w.dry[d.Line] = true
			w.notice(now, alarm.OrderWithoutFlow, string(d.Line), "the injector was stopped: it ran and the meter showed no flow; feed goes on when water flows again")
			continue
		}
		if d.Metered && d.Open >= flowFrom {
			w.judgeFlow(now, d.Line, d.OpenedAt, d.Litres, d.Open, d.OwnLPH)
		}
	}
	for i := range lines {
		s := &lines[i]
		if on := now.Since(s.OpenedAt); s.Open && s.Metered && on >= flowFrom {
			w.judgeFlow(now, s.Line, s.OpenedAt, s.SoFarL, on, s.OwnLPH)
		}
	}
	if w.stray.known {
		w.stray.recent *= math.Exp2(-float64(max(0, now.Mono-w.stray.at)) / float64(strayHalfLife))
		w.stray.recent += max(0, strayL-w.stray.totalL)
	}
	w.stray.known, w.stray.totalL, w.stray.at = true, strayL, now.Mono
	w.book.Measure(now, alarm.FlowWithoutOrder, "", w.stray.recent-strayLeast, fmt.Sprintf("%.1f L ran lately with every line closed", w.stray.recent))
	if len(w.dry) > 1 {
		w.hold(now, alarm.SupplyGone, "", fmt.Sprintf("none of the last %d lines that were opened gave water", len(w.dry)))
	}
}

// together notes which runs are not a line's own, since another line runs too.
func (w *watch) together(obs *garden.Observed, lines []valves.Status) {
	clear(w.running)
	for i := range obs.Delivered {
		w.running[obs.Delivered[i].Line] = true
	}
	for i := range lines {
		if lines[i].Open {
			w.running[lines[i].Line] = true
		}
	}
	if len(w.running) < 2 {
		return
	}
	for i := range obs.Delivered {
		w.beside[obs.Delivered[i].Line] = obs.Delivered[i].OpenedAt.Mono
	}
	for i := range lines {
		if lines[i].Open {
			w.beside[lines[i].Line] = lines[i].OpenedAt.Mono
		}
	}
}

// dry are the lines that gave no water when they were last open, and since when;
// one that gives water empties it.
type dry map[garden.LineID]bool

// dryAlone reports whether each line that gave no water since any did, and each that a
// pump last ran dry for, gave none while another did: none has gone dry that is news.
func (w *watch) dryAlone(pumped []garden.LineID) bool {
	lines := w.dried(pumped)
	for _, id := range lines {
		if !slices.ContainsFunc(w.noticed, func(n noticed) bool { return n.kind == alarm.OrderWithoutFlow && n.subject == string(id) && n.alone }) {
			return false
		}
	}
	return len(lines) > 0
}

func (w *watch) dried(pumped []garden.LineID) []garden.LineID {
	lines := slices.AppendSeq(slices.Clone(pumped), maps.Keys(w.dry))
	slices.Sort(lines)
	return slices.Compact(lines)
}

// forLines names those lines.
func (w *watch) forLines(pumped []garden.LineID) string {
	var s string
	for i, id := range w.dried(pumped) {
		s += [...]string{" for ", ", "}[min(i, 1)] + string(id)
	}
	return s
}

// judgeFlow compares what ran with what the line's emitters give. Where several
// lines run at once the meter can't tell them apart: one of them is named for a flow that
// is too high, and all are for none. One that gave nothing does so still until there is
// a flow that is its own, or until water comes after a time in which the supply gave
// none to any.
func (w *watch) judgeFlow(now garden.Moment, line garden.LineID, opened garden.Moment, litres float64, on time.Duration, ownLPH float64) {
	expected := w.flowLPH[line] * on.Hours()
	if !(expected > 0) {
		return
	}
	about := string(line)
	if w.book.Holds(alarm.NotClosed, about) || w.follows(alarm.LineFaulted, about) {
		return // nobody knows how long it was open
	}
	ratio := litres / expected
	tooMuch, tooLittle := tooMuchFlow, tooLittleFlow
	if band, _ := alarm.FlowTooHigh.Band(); w.stands(alarm.FlowTooHigh, about) {
		tooMuch -= band
	}
	if band, _ := alarm.OrderWithoutFlow.Band(); w.stands(alarm.OrderWithoutFlow, about) {
		tooLittle += band
	}
	if ratio <= tooLittle && w.book.Holds(alarm.GaugeDoubtful, meterName) {
		return // it can't be the line's fault alone
	}
	if ratio <= tooLittle {
		w.dry[line] = true
		w.end(alarm.FlowTooHigh, about)
		alone := slices.ContainsFunc(w.noticed, func(n noticed) bool { return n.kind == alarm.OrderWithoutFlow && n.subject == about && n.alone })
		w.notice(now, alarm.OrderWithoutFlow, about, fmt.Sprintf("%.2f L ran in %v, where its emitters give %.1f L", litres, on.Round(time.Second), expected))
		w.noticed[len(w.noticed)-1].alone = alone
		return
	}
	for i := range w.noticed {
		if n := &w.noticed[i]; n.kind == alarm.OrderWithoutFlow && n.subject != about {
			n.alone = true
		}
	}
	if w.book.Holds(alarm.SupplyGone, "") {
		for id := range w.dry {
			w.end(alarm.OrderWithoutFlow, string(id))
		}
	}
	clear(w.dry)
	if ownLPH > tooLittle*w.flowLPH[line] {
		w.end(alarm.OrderWithoutFlow, about)
	}
	if ratio >= tooMuch && w.follows(alarm.FlowTooHigh, about) {
		return // what runs elsewhere is counted with it
	}
	if ratio >= tooMuch {
		// Of lines that run together one is named until it is known whose it is.
		since, beside := w.beside[line]
		own := !beside || since != opened.Mono || w.flowKnown(about)
		if !own && slices.ContainsFunc(w.noticed, func(n noticed) bool { return n.othersFlow(about) && w.running[garden.LineID(n.subject)] }) {
			return
		} else if own {
			w.noticed = slices.DeleteFunc(w.noticed, func(n noticed) bool { return n.othersFlow(about) && n.shared })
		}
		w.notice(now, alarm.FlowTooHigh, about, fmt.Sprintf("%.1f L ran in %v, %.1f times what its emitters give", litres, on.Round(time.Second), ratio))
		w.noticed[len(w.noticed)-1].shared = !own
		return
	}
	w.end(alarm.FlowTooHigh, about)
}

// flowKnown reports whether a line showed its far too high flow alone.
func (w *watch) flowKnown(line string) bool {
	return slices.ContainsFunc(w.noticed, func(n noticed) bool { return n.kind == alarm.FlowTooHigh && n.subject == line && !n.shared })
}

// othersFlow reports whether it is of another line's far too high flow.
func (n *noticed) othersFlow(than string) bool {
	return n.kind == alarm.FlowTooHigh && n.subject != than
}

// cold tells of lines locked by frost.
func (w *watch) cold(now garden.Moment, env valves.Env) {
	coldest := math.Inf(1)
	for _, t := range []garden.Measured{env.AirC, env.MixC} {
		if t.Known {
			coldest = min(coldest, t.Value)
		}
	}
	if !math.IsInf(coldest, 1) {
		w.book.Measure(now, alarm.Frost, "", w.frostC-coldest, fmt.Sprintf("%.1f °C, where the limit is %.1f °C", coldest, w.frostC))
	}
}

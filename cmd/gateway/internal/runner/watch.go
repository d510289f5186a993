package runner

import (
	"fmt"
	"slices"
	"time"

	"fabricpot/control"
	"fabricpot/control/alarm"
	"fabricpot/control/garden"
	"fabricpot/valves"
)

// eventHolds is how long what the controller noticed once keeps its alarm up:
// it notices again if it goes on.
const eventHolds = 12 * time.Hour

// spentFor is how long what was charged counts in a line's limit for the day, which
// is kept by the whole hour.
const spentFor = 25 * time.Hour

// watch turns what a round saw into conditions for the alarm book.
type watch struct {
	book    *alarm.Book
	supply  garden.Supply
	frostC  float64
	flowLPH map[garden.LineID]float64
	doubts  doubts
	stray   stray
	causes  causes
	pairs   pairs
	dry     dry
	// beside is when a line was last opened that ran beside others, on Mono, and
	// running are those that are open this round, or closed since the last.
	beside  map[garden.LineID]time.Duration
	running map[garden.LineID]bool
	// floatDoubted tells that the float says empty and the meter counts: it explains
	// nothing then.
	floatDoubted bool
	supplies     supplies
	failed       error // what the journal last failed with
	// failedAt is when, and failsFor how long that counts: samples are written
	// every few rounds, so a card may fail seldom and always.
	failing  bool
	failedAt time.Duration
	failsFor time.Duration
	noticed  []noticed
	// spent is until when a line's limit for the day follows from a fault that had
	// its own alarm.
	spent map[garden.LineID]time.Duration
}

// noticed is an event that is over the moment it happens and whose alarm stays
// up for a while.
type noticed struct {
	kind    alarm.Kind
	subject string
	text    string
	until   time.Duration
	shared  bool // of lines that ran together, so that it may be another's
	alone   bool // it gave no water, and another did since
	wet     bool // of a probe that reads too wet, which water that nobody ordered may be
}

func newWatch(g *garden.Garden) watch {
	w := watch{book: alarm.NewBook(), supply: g.Supply, frostC: g.Limits.FrostC, flowLPH: map[garden.LineID]float64{}, doubts: newDoubts(g),
		causes: newCauses(g), pairs: newPairs(g), dry: dry{}, beside: map[garden.LineID]time.Duration{}, running: map[garden.LineID]bool{}, spent: map[garden.LineID]time.Duration{}, supplies: newSupplies(g), failsFor: (batchTicks + 2) * max(g.SampleEvery, time.Minute)}
	for i := range g.Lines {
		w.flowLPH[g.Lines[i].ID] = g.Lines[i].FlowLPH()
	}
	return w
}

// journal notes whether something could be recorded.
func (w *watch) journal(err error) {
	if err != nil {
		w.failed, w.failing = err, true
	}
}

// look ends a round: it tells the book every condition that holds and returns
// what changed.
func (w *watch) look(now garden.Moment, obs *garden.Observed, st *control.State, views []control.ZoneView, lines []valves.Status, j valves.Journal) []alarm.Change {
	w.silent(now, obs.Readings)
	w.doubts.grows(views)
	w.probes(now, obs)
	w.confused(now, obs, lines)
	w.events(now, st)
	w.pairsFirst()
	w.deaf(now, views)
	w.unclosed(now, lines)
	w.unwritten(now, j)
	if st.AutoOff {
		w.book.Hold(now, alarm.ControlOff, "", "", alarm.Cause{Kind: alarm.KeepsCrashing})
	}
	if !now.Synced {
		w.hold(now, alarm.ClockUnconfirmed, "", "")
	}
	if full := w.supply.TankL.Value; w.supply.TankL.Known && obs.TankL.Known && full > 0 {
		w.book.Measure(now, alarm.TankLow, "", (w.supply.TankReserveL-obs.TankL.Value)/full,
			fmt.Sprintf("%.0f L are left, %.0f L are kept back", obs.TankL.Value, w.supply.TankReserveL))
	}
	return w.book.Step(now)
}

// unclosed tells of lines that do not confirm that they are closed.
func (w *watch) unclosed(now garden.Moment, lines []valves.Status) {
	for i := range lines {
		if s := &lines[i]; s.UnconfirmedFor > 0 {
			text := fmt.Sprintf("told to close %d times in %v", s.Attempts, s.UnconfirmedFor.Round(time.Second))
			if s.Err != nil {
				text += ": " + s.Err.Error()
			}
			w.hold(now, alarm.NotClosed, string(s.Line), text)
			if told, _ := alarm.NotClosed.Delays(); s.UnconfirmedFor >= told {
				w.spent[s.Line] = now.Mono + spentFor // it is charged until it is confirmed
			}
		}
	}
}

// unwritten tells that the journal can't be written.
func (w *watch) unwritten(now garden.Moment, j valves.Journal) {
	w.journal(j.Err)
	if w.failing {
		w.failing, w.failedAt = false, now.Mono
	}
	if w.failed != nil && now.Mono-w.failedAt <= w.failsFor {
		w.hold(now, alarm.JournalUnwritable, "", w.failed.Error())
	}
}

// events keeps what the controller noticed up for a while, or ends it.
func (w *watch) events(now garden.Moment, st *control.State) {
	for _, e := range st.Events() {
		w.event(now, st, &e)
	}
	kept := w.noticed[:0]
	for _, n := range w.noticed {
		if now.Mono < n.until || w.goesOn(&n) {
			kept = append(kept, n)
			w.keep(now, &n)
		}
	}
	w.noticed = kept
}

// goesOn reports whether something noticed stands until it is noticed to have ended.
func (w *watch) goesOn(n *noticed) bool {
	switch n.kind {
	case alarm.OnBalance:
		return true
	case alarm.ZoneNoResponse:
		return w.doubts.unmoved(garden.ZoneID(n.subject))
	case alarm.ProbeDoubtful:
		return w.doubts.mute[garden.ProbeID(n.subject)]
	}
	return w.untilFlow(n)
}

// event takes in one thing that the controller noticed.
func (w *watch) event(now garden.Moment, st *control.State, e *control.Event) {
	if w.pairs.astray(e.Zone) && followsPair(e.Kind) {
		return
	}
	switch e.Kind {
	case control.ProbeNoResponse:
		w.doubts.mute[e.Probe] = true
		if !w.waterless(st, e.Zone) {
			w.notice(now, alarm.ProbeDoubtful, string(e.Probe), e.String())
		}
	case control.ProbeBack:
		delete(w.doubts.mute, e.Probe)
		if !w.wet(e.Probe) { // it may move, and read too wet all the same
			w.end(alarm.ProbeDoubtful, string(e.Probe))
		}
		if w.stands(alarm.ZoneNoResponse, string(e.Zone)) {
			// Water comes: what has not moved with it is at fault itself.
			w.end(alarm.ZoneNoResponse, string(e.Zone))
			for id := range w.doubts.mute {
				if w.doubts.zoneOf[id] == e.Zone {
					w.notice(now, alarm.ProbeDoubtful, string(id), "did not move when another probe of its pot did: check that it sits firmly in the mix")
				}
			}
		}
	case control.ZoneNoResponse:
		w.notice(now, alarm.ZoneNoResponse, string(e.Zone), e.String())
	case control.LessArrives:
		w.notice(now, alarm.LessArrives, string(e.Zone), e.String())
	case control.LessFlows:
		w.notice(now, alarm.LessFlow, string(e.Line), e.String())
	case control.OnBalance:
		w.notice(now, alarm.OnBalance, string(e.Zone), e.String())
	case control.OnProbe:
		w.end(alarm.OnBalance, string(e.Zone))
		w.supplies.reckoned[e.Zone] = now.Mono
	case control.CapHolds:
		w.capped(now, e.Line, e.String())
	case control.OrderLost:
		// Whether it is closed is asked for already.
		if !w.book.Holds(alarm.NotClosed, string(e.Line)) {
			w.faulted(now, e)
		}
	case control.LineFaulted:
		w.faulted(now, e)
	case control.DrinksMore:
		w.notice(now, alarm.LosesTooMuch, string(e.Zone), e.String())
	case control.DrinksLess:
		if !w.follows(alarm.LosesTooLittle, string(e.Zone)) {
			w.notice(now, alarm.LosesTooLittle, string(e.Zone), e.String())
		}
	case control.ReadsWet:
		if e.Probe == "" { // likelier the water than each of their plugs
			if !w.follows(alarm.LosesTooLittle, string(e.Zone)) {
				w.notice(now, alarm.LosesTooLittle, string(e.Zone), e.String())
			}
			break
		}
		w.notice(now, alarm.ProbeDoubtful, string(e.Probe), e.String())
		w.noticed[len(w.noticed)-1].wet = true
	case control.ReadsDry:
		w.notice(now, alarm.ReadsDry, string(e.Zone), e.String())
	}
}

// keep tells the book of a notice, but for a soaked pot that is watered by reckoning:
// it needs no water.
func (w *watch) keep(now garden.Moment, n *noticed) {
	switch {
	case n.kind == alarm.OnBalance && w.doubts.soaked(garden.ZoneID(n.subject)):
	case n.wet:
		w.spilt(now, n.kind, n.subject, w.doubts.zoneOf[garden.ProbeID(n.subject)], n.text)
	default:
		w.hold(now, n.kind, n.subject, n.text)
	}
}

// faulted tells of a driver that failed, where that does not follow from a link that
// is down: it would outlast that.
func (w *watch) faulted(now garden.Moment, e *control.Event) {
	if !w.follows(alarm.LineFaulted, string(e.Line)) {
		w.notice(now, alarm.LineFaulted, string(e.Line), e.String())
	}
}

// untilFlow tells what only the line's next pulse ends: one that gave nothing is tried
// seldom. A line or a meter that is no longer there ends it with its time.
func (w *watch) untilFlow(n *noticed) bool {
	_, known := w.flowLPH[garden.LineID(n.subject)]
	return (n.kind == alarm.OrderWithoutFlow || n.kind == alarm.FlowTooHigh) && known && w.supply.MeterPulsesPerL.Known
}

func (w *watch) notice(now garden.Moment, k alarm.Kind, subject, text string) {
	w.noticeFor(now, k, subject, text, eventHolds)
}

func (w *watch) noticeFor(now garden.Moment, k alarm.Kind, subject, text string, long time.Duration) {
	w.end(k, subject)
	w.noticed = append(w.noticed, noticed{kind: k, subject: subject, text: text, until: now.Mono + long})
}

// stands reports whether something noticed still keeps its alarm up.
func (w *watch) stands(k alarm.Kind, subject string) bool {
	for _, n := range w.noticed {
		if n.kind == k && n.subject == subject {
			return true
		}
	}
	return false
}

// wet reports whether a probe was noticed to read too wet.
func (w *watch) wet(id garden.ProbeID) bool {
	return slices.ContainsFunc(w.noticed, func(n noticed) bool {
		return n.kind == alarm.ProbeDoubtful && n.subject == string(id) && n.wet
	})
}

func (w *watch) end(k alarm.Kind, subject string) {
	for i, n := range w.noticed {
		if n.kind == k && n.subject == subject {
			w.noticed = append(w.noticed[:i], w.noticed[i+1:]...)
			return
		}
	}
}

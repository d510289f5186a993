package runner

import (
	"fmt"

	"fabricpot/control"
	"fabricpot/control/alarm"
	"fabricpot/control/garden"
	"fabricpot/valves"
)

// pairs watches for two probes whose plugs were confused. Of each such pair one has the
// alarm for as long as it looks so; what else is noticed of the two pots follows from it.
type pairs struct {
	*control.Swaps
	probes []garden.Probe // in ProbeList's order
	told   map[garden.ProbeID]toldPair
}

// toldPair is the other probe of a pair, and the alarm's text.
type toldPair struct {
	other garden.ProbeID
	text  string
}

func newPairs(g *garden.Garden) pairs {
	return pairs{Swaps: control.NewSwaps(g), probes: g.ProbeList(), told: map[garden.ProbeID]toldPair{}}
}

// confused tells of two probes whose plugs look swapped.
func (w *watch) confused(now garden.Moment, obs *garden.Observed, lines []valves.Status) {
	p := &w.pairs
	for i := range lines {
		if s := &lines[i]; s.Open {
			p.Runs(s.Line, s.OpenedAt.Mono, now.Mono)
		}
	}
	if s, ok := p.See(now.Mono, obs); ok && p.told[s.Other].other != s.Own {
		// Whichever of the two showed it first keeps the alarm.
		p.told[s.Own] = toldPair{s.Other, fmt.Sprintf("stays as it is when line %s waters, and probe %s answers: look whether their plugs are confused; until they are right both pots are watered without them", s.Line, s.Other)}
		w.end(alarm.ProbeDoubtful, string(s.Own))
		w.end(alarm.ProbeDoubtful, string(s.Other))
	}
	if len(p.told) == 0 {
		return
	}
	for i := range p.probes {
		id := p.probes[i].ID
		if t, ok := p.told[id]; ok && p.Confused(i) {
			w.hold(now, alarm.ProbeDoubtful, string(id), t.text)
		} else if ok {
			delete(p.told, id)
		}
	}
}

// astray reports whether a probe of that zone seems to hang in another pot.
func (p *pairs) astray(zone garden.ZoneID) bool {
	if len(p.told) == 0 {
		return false
	}
	for i := range p.probes {
		if p.probes[i].Zone == zone && p.Confused(i) {
			return true
		}
	}
	return false
}

// followsPair reports whether such an event of a zone says no more than that its
// readings are another's.
func followsPair(k control.EventKind) bool {
	switch k {
	case control.ProbeNoResponse, control.ZoneNoResponse, control.LessArrives, control.OnBalance, control.CapHolds,
		control.DrinksMore, control.DrinksLess, control.ReadsDry, control.ReadsWet:
		return true
	}
	return false
}

// pairsFirst makes what was noticed of pots whose plugs are confused a part of that
// alarm, also what is over and stands for its delay.
func (w *watch) pairsFirst() {
	p := &w.pairs
	for id, t := range p.told {
		for i := range p.probes {
			x := &p.probes[i]
			if x.ID != id && x.ID != t.other || !p.Confused(i) {
				continue
			}
			for _, k := range []alarm.Kind{alarm.ZoneNoResponse, alarm.LessArrives, alarm.LosesTooMuch, alarm.OnBalance, alarm.LosesTooLittle, alarm.ReadsDry} {
				w.book.Follows(k, string(x.Zone), alarm.Cause{Kind: alarm.ProbeDoubtful, Subject: string(id)})
			}
		}
	}
}

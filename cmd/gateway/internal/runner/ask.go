package runner

import (
	"time"

	"fabricpot/control"
	"fabricpot/control/garden"
)

// Ask hands in a request for the next tick. Keeping shut takes effect at once.
func (l *Loop) Ask(now garden.Moment, a garden.Ask) {
	l.obey(now, a)
	l.check(now, "keep a request", l.p.Journal.Asked(now, a))
	l.refresh(now)
}

// obey does at once what can't wait for the next tick, and hands the rest to it.
func (l *Loop) obey(now garden.Moment, a garden.Ask) {
	switch a.Kind {
	case garden.AskShut, garden.AskRelease, garden.AskAutoOff, garden.AskAutoOn:
		l.p.Tell.Noticed(control.Event{Kind: control.Told, At: now, Zone: a.Zone, A: float64(a.Kind), B: (a.Until.Mono - now.Mono).Hours()})
	}
	switch a.Kind {
	case garden.AskShut:
		l.eachZone(a.Zone, func(id garden.ZoneID) { l.shut[id] = a.Until.Mono })
		l.eachLine(a.Zone, func(id garden.LineID) { l.hold(now, id) })
	case garden.AskRelease:
		l.eachZone(a.Zone, func(id garden.ZoneID) { delete(l.shut, id) })
		l.eachLine(a.Zone, func(id garden.LineID) { l.hold(now, id) })
	case garden.AskAutoOff:
		l.switched(now, false)
	case garden.AskAutoOn:
		l.switched(now, true)
	}
	l.asks = append(l.asks, a)
}

// hold keeps a line shut as long as any of its zones is to be kept shut.
func (l *Loop) hold(now garden.Moment, id garden.LineID) {
	until := time.Duration(0)
	l.p.Garden.EachZone(func(_ *garden.Pot, z *garden.Zone) {
		if z.Line == id {
			until = max(until, l.shut[z.ID])
		}
	})
	if until <= now.Mono {
		l.p.Guard.Release(id)
		return
	}
	if d, ended := l.p.Guard.KeepShut(now, id, until); ended {
		l.keep([]garden.Delivery{d})
	}
}

// eachZone calls f with a zone, or with all where it is empty.
func (l *Loop) eachZone(zone garden.ZoneID, f func(garden.ZoneID)) {
	l.p.Garden.EachZone(func(_ *garden.Pot, z *garden.Zone) {
		if zone == "" || z.ID == zone {
			f(z.ID)
		}
	})
}

// eachLine calls f with the line of a zone, or with every line where the zone
// is empty. A line that waters several zones is kept shut with any of them:
// water for the one can't be told from water for the other.
func (l *Loop) eachLine(zone garden.ZoneID, f func(garden.LineID)) {
	if zone == "" {
		for i := range l.p.Garden.Lines {
			f(l.p.Garden.Lines[i].ID)
		}
		return
	}
	if _, z, ok := l.p.Garden.Zone(zone); ok && z.Line != "" {
		f(z.Line)
	}
}

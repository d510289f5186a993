package feeding

import (
	"fmt"

	"fabricpot/control/feed"
	"fabricpot/control/garden"
)

// Check judges everything in the garden that concerns feeding. Paths are those
// of the garden file.
func Check(g *garden.Garden) []garden.Problem {
	out := feed.Check(g)
	for i := range g.Lines {
		l := &g.Lines[i]
		if !l.Injector.Present() {
			continue
		}
		warn := func(what string) {
			out = append(out, garden.Problem{Path: "lines." + string(l.ID) + ".injector", What: what})
		}
		switch {
		case l.Valve.Kind == garden.RemoteValve:
			out = append(out, garden.Problem{Fatal: true, Path: "lines." + string(l.ID) + ".injector",
				What: "an injector on a line whose valve is remote: such a valve closes by its own limit and tells it late or never, so the injector would go on into a line with no water in it. Hang the valve on a pin here, or take the injector out and its pots are fed by hand"})
		case !l.Injector.Switched:
			warn("no pin, so the gateway can't tell feed from water on this line: its pots are fed by hand")
		case !carries(g, l):
			warn(fmt.Sprintf("no pot of line %q has a feed", l.ID))
		}
	}
	return append(out, checkWeak(g)...)
}

// checkWeak judges pots that are fed with every watering.
func checkWeak(g *garden.Garden) (out []garden.Problem) {
	bad := func(path, what string) { out = append(out, garden.Problem{Fatal: true, Path: path, What: what}) }
	g.EachZone(func(p *garden.Pot, z *garden.Zone) {
		if !z.Feed.Fed() || !z.Feed.EveryWatering.Known {
			return
		}
		path := "pots." + string(p.ID) + ".zones." + string(z.ID) + ".feed.every-watering"
		l, ok := g.Line(z.Line)
		switch {
		case !ok:
			bad(path, "feed with every watering for a pot that is watered with a can: leave it out and it is fed at intervals")
			return
		case !l.Injector.Present() || !l.Injector.Switched || l.Valve.Kind == garden.RemoteValve:
			bad(path, fmt.Sprintf("feed with every watering, and line %q has no injector with a pin: give it one, or leave this out and the pot is fed at intervals", l.ID))
			return
		}
		for _, o := range l.Outlets {
			if _, other, ok := g.Zone(o.Zone); ok && other.Feed.Fed() && other.ID != z.ID &&
				(!other.Feed.EveryWatering.Known || other.Feed.EveryWatering.Value != z.Feed.EveryWatering.Value) {
				bad(path, fmt.Sprintf("line %q waters %q too, which is fed otherwise: one line carries one feed", l.ID, other.ID))
			}
		}
	})
	return out
}

// carries reports whether a zone of the line is fed.
func carries(g *garden.Garden, l *garden.Line) bool {
	for _, o := range l.Outlets {
		if _, z, ok := g.Zone(o.Zone); ok && z.Feed.Fed() {
			return true
		}
	}
	return false
}

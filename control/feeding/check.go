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
			warn("the gateway can't end a feed together with a remote valve: its pots are fed by hand")
		case !l.Injector.Switched:
			warn("no pin, so the gateway can't tell feed from water on this line: its pots are fed by hand")
		case !carries(g, l):
			warn(fmt.Sprintf("no pot of line %q has a feed", l.ID))
		}
	}
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

package valves

import "fabricpot/control/garden"

// Unaccounted tells that nobody knows what the lines gave in the day before now, since
// the journal that had it is broken: each may have had all its cap. For a day no line
// gives more than its survival dose, of whatever kind and by whomever it is asked for,
// and less by what is known to have been given: a terrace dead of thirst is no safe
// state. So a line comes to at most that dose over its cap in a rolling day, and to none
// where the dose was given already as far as is known.
//
// Like a limit that a reload loosened it is kept by Limits and holds over restarts until
// its day is over. Call it after Recall.
func (g *Guard) Unaccounted(now garden.Moment) {
	g.mu.Lock()
	defer g.mu.Unlock()
	for _, ln := range g.lines {
		b := ln.file.now
		b.capL = min(b.capL, b.doseL)
		ln.file.holdUp(now, b)
	}
	g.ready(now)
}

package runner

import (
	"fabricpot/control/garden"
)

// refresh publishes again between rounds, so that who asked for something sees
// at once what came of it.
func (l *Loop) refresh(now garden.Moment) {
	if !l.publish || l.status.Load() == nil {
		return
	}
	if l.bare.on {
		l.refreshBare(now)
		return
	}
	lines, _ := l.p.Guard.Snapshot(now)
	l.status.Store(l.snapshot(now, lines))
}

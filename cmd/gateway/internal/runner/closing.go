package runner

import (
	"time"

	"fabricpot/control/garden"
)

// EndPulses reads the gauges and closes what is due. Another goroutine may call it.
// The gauges come first, since on an event clock nobody read them meanwhile. Where
// time is real Drive reads them beside, and a round waits for none: one that hangs
// would keep the program from ending.
func (l *Loop) EndPulses(now garden.Moment) {
	if !l.beside {
		l.count(now)
	}
	l.advance(now)
}

// advance closes what is due. It waits for no gauge and no card.
func (l *Loop) advance(now garden.Moment) {
	if out := l.p.Guard.Advance(now); len(out) > 0 {
		l.keep(out)
	}
}

// CloseAtOnce closes every line and lets none be opened any more. It touches no
// journal, and like EndPulses it may be called from another goroutine.
func (l *Loop) CloseAtOnce(now garden.Moment) { l.keep(l.p.Guard.SealOff(now)) }

// NextDeadline is when EndPulses has something to do, on the monotonic clock.
func (l *Loop) NextDeadline() (time.Duration, bool) { return l.p.Guard.NextDeadline() }

func (l *Loop) keep(d []garden.Delivery) {
	if len(d) == 0 {
		return
	}
	l.mu.Lock()
	l.ended = append(l.ended, d...)
	l.mu.Unlock()
}

// CloseAll closes every line and turns automatic control off, so that what a
// person closed stays closed until they say otherwise; survival doses go on.
func (l *Loop) CloseAll(now garden.Moment, who string) CloseReport {
	open := 0
	lines, _ := l.p.Guard.Snapshot(now)
	for _, s := range lines {
		if s.Open {
			open++
		}
	}
	l.keep(l.p.Guard.CloseAll(now))
	l.Ask(now, garden.Ask{Kind: garden.AskAutoOff, Who: who})
	rep := CloseReport{Lines: len(lines), Unconfirmed: l.p.Guard.Unconfirmed(), Interrupted: open}
	rep.Closed = rep.Lines - len(rep.Unconfirmed)
	return rep
}

// End closes every line for good and writes what is left to write. Call it
// again with a later moment while it reports unconfirmed lines and patience
// lasts.
func (l *Loop) End(now garden.Moment) CloseReport {
	l.keep(l.p.Guard.Seal(now))
	l.advance(now)
	l.takeEnded()
	l.check(now, "write what was delivered", l.p.Guard.Flush())
	l.stopped(now)
	rep := CloseReport{Lines: len(l.p.Garden.Lines), Unconfirmed: l.p.Guard.Unconfirmed(), Interrupted: len(l.obs.Delivered)}
	l.refresh(now)
	rep.Closed = rep.Lines - len(rep.Unconfirmed)
	return rep
}

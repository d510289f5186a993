package runner

import (
	"fmt"
	"time"

	"fabricpot/control/alarm"
	"fabricpot/control/garden"
)

// begunAnew is a History that may have been begun in place of a broken one: what it does
// not know may have been all the same.
type begunAnew interface {
	// Broken tells of that, empty where it was not so or BrokenTold was called.
	Broken() (string, error)
	BrokenTold() error
}

// broken is what the loop still has to do about a journal begun anew.
type broken struct {
	// untold tells that the journal says so until limits and alarm are kept, again when
	// to try that after a write that failed, on Mono.
	untold bool
	again  time.Duration
}

// lost asks whether the past is lost with a broken journal. It is called after the limits
// of earlier runs are recalled, and before they are kept and the alarms recalled.
func (l *Loop) lost(now garden.Moment) error {
	h, ok := l.p.History.(begunAnew)
	if !ok {
		return nil
	}
	what, err := h.Broken()
	if err != nil {
		return fmt.Errorf("runner: whether the journal was broken: %w", err)
	}
	if what == "" {
		return nil
	}
	// Numbers that the lost ones had mean another order to who remembers them, such as
	// a valve's node.
	l.p.State.NextOrder = max(l.p.State.NextOrder, garden.OrderID(max(0, now.Wall.Unix())))
	l.p.Guard.Unaccounted(now)
	l.watch.broke(now, what)
	l.p.Tell.Failed(now, "know what was given in the last day", fmt.Errorf("%s; each line gives no more than a survival dose for a day", what))
	l.broken = broken{untold: true}
	return nil
}

// tellBroken has the journal forget that it was broken once what follows from that is
// kept: the limits of the day and the alarm.
func (l *Loop) tellBroken(now garden.Moment) {
	if !l.broken.untold || !l.limits.looked || now.Mono < l.broken.again || !l.watch.book.Holds(alarm.JournalBroken, "") {
		return
	}
	err := l.keepAlarms(now)
	if err == nil {
		err = l.p.History.(begunAnew).BrokenTold()
	}
	l.check(now, "keep that the journal was broken", err)
	l.broken = broken{untold: err != nil, again: now.Mono + limitsAgain}
}

// broke raises the alarm of a broken journal, for as long as its limits hold. That they
// hold water back has no alarm of its own.
func (w *watch) broke(now garden.Moment, what string) { w.brokeAt(now, now.Mono, what) }

// brokeAt is broke of a journal that an earlier run found broken, at that time on Mono.
func (w *watch) brokeAt(now garden.Moment, since time.Duration, what string) {
	w.noticeFor(now, alarm.JournalBroken, "", what, since+brokenFor-now.Mono)
	for id := range w.flowLPH {
		w.spent[id] = max(w.spent[id], since+spentFor)
	}
}

// brokenFor is how long the limits hold that follow from a broken journal: the rolling
// day that nobody knows of.
const brokenFor = 24 * time.Hour

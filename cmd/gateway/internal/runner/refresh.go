package runner

import (
	"context"
	"fmt"

	"fabricpot/control/alarm"
	"fabricpot/control/garden"
)

// refresh publishes again between rounds, so that who asked for something sees
// at once what came of it.
func (l *Loop) refresh(now garden.Moment) {
	if !l.publish || l.status.Load() == nil {
		return
	}
	lines, _ := l.p.Guard.Snapshot(now)
	l.status.Store(l.snapshot(now, lines))
}

// acknowledge marks an alarm as seen; it reports false where there is none by
// that name and subject, or it was seen before.
func (l *Loop) acknowledge(now garden.Moment, name, about, who string) bool {
	for _, k := range alarm.Kinds() {
		if k.String() != name {
			continue
		}
		c, ok := l.watch.book.Acknowledge(now, k, about, who)
		if ok {
			l.p.Tell.Alarmed(c)
			l.check(now, "keep an alarm", l.p.Journal.Alarmed(c))
			l.refresh(now)
		}
		return ok
	}
	return false
}

// Acknowledge marks an alarm as seen, by its name and subject.
func (d *Desk) Acknowledge(ctx context.Context, name, about, who string) error {
	found := false
	if err := d.inbox.Do(ctx, func(now garden.Moment) { found = d.loop.acknowledge(now, name, about, who) }); err != nil {
		return err
	}
	if !found {
		return fmt.Errorf("no alarm %q about %q waits to be seen", name, about)
	}
	return nil
}

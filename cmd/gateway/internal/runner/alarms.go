package runner

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"fabricpot/control/alarm"
	"fabricpot/control/garden"
)

// alarmsKey names the standing alarms among the journal's small values.
const alarmsKey = "alarms"

// recallAlarms takes up the alarms of an earlier run, so that a restart tells
// nothing twice and forgets nobody's word. What was noticed once goes on for as
// long as if it had been noticed now, but for a broken journal: its limits hold from
// when it broke.
func (l *Loop) recallAlarms(now garden.Moment, h LongMemory) {
	text, found, err := h.Meta(alarmsKey)
	var kept []alarm.Kept
	if err == nil && found {
		if err = json.Unmarshal([]byte(text), &kept); err != nil {
			kept = nil
		}
	}
	l.check(now, "recall the alarms", err)
	l.watch.book.Restore(now, kept)
	mute := l.watch.doubts.mute
	l.p.Plan.Unmoved(l.p.State, func(id garden.ProbeID) { mute[id] = true })
	for _, a := range l.watch.book.List() {
		switch {
		case !a.Active || l.watch.stands(a.Kind, a.Subject):
		case !noticedOnce(a.Kind) && (a.Kind != alarm.ProbeDoubtful || !mute[garden.ProbeID(a.Subject)]):
		case a.Kind == alarm.JournalBroken:
			l.watch.brokeAt(now, a.Since.Mono, a.Text)
		default:
			l.watch.notice(now, a.Kind, a.Subject, a.Text)
		}
	}
}

// noticedOnce tells kinds whose condition is an event.
func noticedOnce(k alarm.Kind) bool {
	switch k {
	case alarm.ZoneNoResponse, alarm.LessFlow, alarm.LessArrives, alarm.CapReached, alarm.LineFaulted, alarm.LosesTooMuch, alarm.LosesTooLittle, alarm.ReadsDry,
		alarm.FlowTooHigh, alarm.OrderWithoutFlow, alarm.SupplyShort, alarm.JournalBroken:
		return true
	}
	return false
}

// tellAlarms tells and keeps what changed.
func (l *Loop) tellAlarms(now garden.Moment, changes []alarm.Change) {
	for _, c := range changes {
		l.p.Tell.Alarmed(c)
		l.check(now, "keep an alarm", l.p.Journal.Alarmed(c))
	}
	if len(changes) > 0 {
		l.check(now, "keep the alarms", l.keepAlarms(now))
	}
}

// keepAlarms keeps what stands.
func (l *Loop) keepAlarms(now garden.Moment) error {
	k, ok := l.p.Journal.(interface{ SetMeta(key, value string) error })
	if !ok {
		return nil
	}
	text, err := json.Marshal(l.watch.book.Keep(now))
	if err == nil {
		err = k.SetMeta(alarmsKey, string(text))
	}
	return err
}

// lines is what a page shows of the book.
func (w *watch) lines(now garden.Moment) []AlarmLine {
	list := w.book.List()
	out := make([]AlarmLine, 0, len(list))
	for _, a := range list {
		line := AlarmLine{
			Name: a.Kind.String(), About: a.Subject, State: a.State(), Since: a.Since.Wall, Text: a.Text, Next: a.Kind.Next(),
			Active: a.Active, Acknowledged: a.Acknowledged, Serious: a.Kind.Serious(),
		}
		if a.ShelvedUntil > 0 {
			until := now.Wall.Add(a.ShelvedUntil - now.Mono).Round(time.Second)
			line.OutUntil = &until
		}
		out = append(out, line)
	}
	return out
}

// Acknowledge marks an alarm as seen, by its name and subject.
func (d *Desk) Acknowledge(ctx context.Context, name, about, who string) error {
	return d.onAlarm(ctx, name, func(l *Loop, now garden.Moment, k alarm.Kind) error {
		c, ok := l.watch.book.Acknowledge(now, k, about, who)
		if !ok {
			return fmt.Errorf("no alarm %q about %q waits to be seen", name, about)
		}
		l.tellAlarms(now, []alarm.Change{c})
		return nil
	})
}

// Rest takes an alarm out of service for a time, at most alarm.MostShelved: it is watched
// and nobody is told. For 0 it puts it back.
func (d *Desk) Rest(ctx context.Context, name, about string, long time.Duration, who string) error {
	if long == 0 {
		return d.unshelve(ctx, name, about, who)
	}
	return d.shelve(ctx, name, about, long, who)
}

func (d *Desk) shelve(ctx context.Context, name, about string, long time.Duration, who string) error {
	return d.onAlarm(ctx, name, func(l *Loop, now garden.Moment, k alarm.Kind) error {
		if known := l.watch.abouts(l.p.Garden, k); !slices.Contains(known, about) && !slices.ContainsFunc(l.watch.book.List(), func(a alarm.Alarm) bool { return a.Kind == k && a.Subject == about }) {
			if len(known) == 1 && known[0] == "" {
				return fmt.Errorf("alarm %q is about nothing in particular, got %q: name it alone", name, about)
			}
			return fmt.Errorf("alarm %q about %q: nothing of this garden is called so; expected one of %s", name, about, strings.Join(known, ", "))
		}
		c, ok := l.watch.book.Shelve(now, k, about, now.Mono+long, who)
		if !ok {
			return fmt.Errorf("out of service for %v: expected a time of up to %.0f days", long, alarm.MostShelved.Hours()/24)
		}
		l.tellAlarms(now, []alarm.Change{c})
		return nil
	})
}

// abouts are what an alarm of a kind may be about in this garden.
func (w *watch) abouts(g *garden.Garden, k alarm.Kind) (out []string) {
	switch k {
	case alarm.NotClosed, alarm.LineFaulted, alarm.OrderWithoutFlow, alarm.LessFlow, alarm.FlowTooHigh, alarm.CapReached:
		for i := range g.Lines {
			out = append(out, string(g.Lines[i].ID))
		}
	case alarm.ZoneNoResponse, alarm.LessArrives, alarm.LosesTooMuch, alarm.LosesTooLittle, alarm.ReadsDry, alarm.OnBalance:
		g.EachZone(func(_ *garden.Pot, z *garden.Zone) { out = append(out, string(z.ID)) })
	case alarm.ProbeDead, alarm.ProbeDoubtful:
		g.EachZone(func(_ *garden.Pot, z *garden.Zone) {
			for i := range z.Probes {
				out = append(out, string(z.Probes[i].ID))
			}
		})
	case alarm.GaugeDoubtful:
		out = []string{meterName, rainName, floatName}
	case alarm.BusDead, alarm.ConverterDead:
		for i := range w.causes.converters {
			if c := &w.causes.converters[i]; k == alarm.ConverterDead {
				out = append(out, c.name)
			} else if !slices.Contains(out, c.bus) {
				out = append(out, c.bus)
			}
		}
	default:
		out = []string{""}
	}
	if k == alarm.LessFlow {
		out = append(out, "") // all lines alike
	}
	return out
}

func (d *Desk) unshelve(ctx context.Context, name, about, who string) error {
	return d.onAlarm(ctx, name, func(l *Loop, now garden.Moment, k alarm.Kind) error {
		cs, ok := l.watch.book.Unshelve(now, k, about, who)
		if !ok {
			return fmt.Errorf("alarm %q about %q is in service", name, about)
		}
		l.tellAlarms(now, cs)
		return nil
	})
}

// onAlarm has the loop's owner do something with an alarm of that name.
func (d *Desk) onAlarm(ctx context.Context, name string, do func(*Loop, garden.Moment, alarm.Kind) error) error {
	k, known := alarm.Named(name)
	if !known {
		return fmt.Errorf("there is no alarm called %q: expected a name as 'gateway alarms' shows it, such as %q", name, alarm.CapReached)
	}
	var refused error
	err := d.inbox.Do(ctx, func(now garden.Moment) {
		if refused = do(d.loop, now, k); refused == nil {
			d.loop.refresh(now)
		}
	})
	if err != nil {
		return err
	}
	return refused
}

package runner

import (
	"context"
	"encoding/json"
	"time"

	"fabricpot/control"
	"fabricpot/control/garden"
)

// LongMemory is a journal that also keeps what the controller has learnt and what
// was done to the plants. Where History is one, Begin recalls it.
type LongMemory interface {
	Meta(key string) (string, bool, error)
	SetMeta(key, value string) error
	PlantEvents(since time.Time, zone *time.Location) ([]garden.PlantEvent, error)
}

const (
	// learnedKey names what the controller has learnt among the journal's small
	// values.
	learnedKey = "learned"
	// learnedEvery is how often it is written.
	learnedEvery = time.Hour
	// plantsFor is how far back plant events matter: longer than any crop stands.
	plantsFor = 3 * 366 * 24 * time.Hour
)

// recall gives the controller what earlier runs learnt. A memory that can't be
// read costs what it held and nothing else.
func (l *Loop) recall(now garden.Moment) {
	h, ok := l.p.History.(LongMemory)
	if !ok {
		return
	}
	var m control.Memory
	text, found, err := h.Meta(learnedKey)
	if err == nil && found {
		if err = json.Unmarshal([]byte(text), &m); err != nil {
			m = control.Memory{}
		}
	}
	l.check(now, "recall what was learnt", err)
	var since time.Time
	if now.Synced {
		since = now.Wall.Add(-plantsFor)
	}
	events, err := h.PlantEvents(since, l.p.Garden.Site.Zone)
	l.check(now, "recall what was done to the plants", err)
	l.p.Plan.Recall(l.p.State, now, m, events)
	l.learned, l.learnedAt = m, now.Mono
	if !now.Synced {
		l.undated = &undated{at: now.Mono, events: events}
	}
	l.recallAlarms(now, h)
}

// undated is what a start before the clock was right was told.
type undated struct {
	at     time.Duration // on Mono
	events []garden.PlantEvent
	recent []garden.Delivery
}

// datedWithin is how long after a start its clock may be confirmed for the start to be
// made anew.
const datedWithin = 30 * time.Minute

// redate makes the start anew once the clock is right, but for lines of which something
// has come already.
func (l *Loop) redate(now garden.Moment) {
	u := l.undated
	if u == nil || !now.Synced {
		return
	}
	l.undated = nil
	if now.Mono-u.at <= datedWithin {
		l.p.Plan.Redate(l.p.State, now, l.learned, u.events, u.recent)
	}
}

// memorise keeps what was learnt, once an hour and at the end, but not while what earlier
// runs learnt may still be dated.
func (l *Loop) memorise(now garden.Moment, end bool) {
	k, ok := l.p.Journal.(interface{ SetMeta(key, value string) error })
	if !ok || l.bare.on || l.undated != nil && now.Mono-l.undated.at <= datedWithin || !end && now.Mono-l.learnedAt < learnedEvery {
		return
	}
	l.learnedAt = now.Mono
	m := l.p.Plan.Remember(l.p.State, now)
	if b := l.feeds.book.Load(); b != nil {
		b.remember(l.p.Plan.Look(l.p.State, now, nil), &m)
	}
	text, err := json.Marshal(m)
	if err == nil {
		err = k.SetMeta(learnedKey, string(text))
	}
	l.check(now, "keep what was learnt", err)
}

// Plant hands in what a person did to the plants of a zone, or saw of them. It
// refuses what the garden does not have, and tells where it outlives a pull.
func (d *Desk) Plant(ctx context.Context, e garden.PlantEvent, who string) (stands bool, err error) {
	var refused error
	err = d.inbox.Do(ctx, func(now garden.Moment) {
		if refused = d.loop.p.Plan.CheckPlant(&e); refused != nil {
			return
		}
		if refused = e.CheckDay(now.Wall); refused != nil {
			return
		}
		if e.On.IsZero() {
			e.On = now.Wall
		}
		stands = d.loop.p.Plan.Outlives(d.loop.p.State, &e)
		d.loop.Ask(now, garden.Ask{Kind: garden.AskPlant, Zone: e.Zone, Plant: e, Who: who})
	})
	if err != nil {
		return false, err
	}
	return stands, refused
}

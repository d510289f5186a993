package runner

import (
	"context"
	"fmt"
	"sync/atomic"
	"time"

	"fabricpot/control/garden"
)

// clockWord is the gardener's word that the wall clock is right, for a board
// that no time source reaches. It holds for the clock as it ran when the word
// was given: one that jumps afterwards is another clock, and waits for another
// word. Any goroutine may ask.
type clockWord struct {
	// offset is wall time over monotonic time when the word was given, ns.
	offset atomic.Pointer[int64]
}

// clockSlack is how far wall and monotonic time may drift apart before the wall
// clock counts as another one: both run on one crystal, so only a step does it.
const clockSlack = 2 * time.Minute

// shownSlack is how old the time may be that a person confirmed.
const shownSlack = 10 * time.Minute

// firstYear is before any gateway ran: a clock in it was never set.
const firstYear = 2025

func offsetOf(m garden.Moment) int64 { return m.Wall.UnixNano() - int64(m.Mono) }

// over marks a moment as confirmed where the word holds for it.
func (c *clockWord) over(m garden.Moment) garden.Moment {
	if given := c.offset.Load(); !m.Synced && given != nil {
		off := time.Duration(offsetOf(m) - *given)
		m.Synced = off.Abs() <= clockSlack
	}
	return m
}

// give takes the word, given for a clock that showed a time.
func (c *clockWord) give(now garden.Moment, shown time.Time) error {
	if off := now.Wall.Sub(shown).Abs(); off > shownSlack {
		return fmt.Errorf("the clock showed %s when it was confirmed and shows %s now: look again", shown.Format("2006-01-02 15:04"), now.Wall.Format("2006-01-02 15:04"))
	}
	if now.Wall.Year() < firstYear {
		return fmt.Errorf("the clock shows %s and was never set: set the board's clock first", now.Wall.Format("2006-01-02 15:04"))
	}
	o := offsetOf(now)
	c.offset.Store(&o)
	return nil
}

// believing is a clock whose moments carry the gardener's word.
type believing struct {
	clock Clock
	word  *clockWord
}

// Moment is now.
func (b believing) Moment() garden.Moment { return b.word.over(b.clock.Moment()) }

// Believing returns the clock with its moments confirmed where a person did so
// through the desk.
func (l *Loop) Believing(c Clock) Clock { return believing{c, &l.word} }

// ConfirmClock takes a person's word that the wall clock, which showed a time,
// is right. Calendar rules go on from the next round.
func (d *Desk) ConfirmClock(ctx context.Context, shown time.Time, who string) error {
	var refused error
	err := d.inbox.Do(ctx, func(now garden.Moment) { refused = d.loop.confirmClock(now, shown, who) })
	if err != nil {
		return err
	}
	return refused
}

func (l *Loop) confirmClock(now garden.Moment, shown time.Time, who string) error {
	if now.Synced {
		return nil // it was right all along
	}
	if err := l.word.give(now, shown); err != nil {
		return err
	}
	now = l.word.over(now)
	l.check(now, "keep a request", l.p.Journal.Decided(now, garden.Order{}, garden.NotRefused, "clock confirmed by "+who))
	l.refresh(now)
	return nil
}

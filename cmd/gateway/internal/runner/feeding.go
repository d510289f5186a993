package runner

import (
	"context"
	"errors"
	"sync/atomic"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"
	"fabricpot/control/task"
	"fabricpot/valves"
)

// feeds is the loop's part of feeding.
type feeds struct {
	book atomic.Pointer[FeedBook]
	// orders go to the guard after this tick's decisions; unkept are those
	// whose records could not be written, and that must not be given.
	orders, unkept []garden.Order
}

// openFeeds reads the past of feeding. Where that fails nothing is fed: a pot
// can wait for food longer than for water, and guessing would feed it twice.
func (l *Loop) openFeeds(now garden.Moment) {
	if l.p.Feeding == nil {
		return
	}
	b, err := OpenFeedBook(l.p.Garden, l.p.Feeding, l.p.FeedJournal, now)
	if err != nil {
		l.p.Tell.Failed(now, "go on feeding; pots are watered all the same", err)
		return
	}
	b.plan.Recall(b.state, now, &l.learned)
	l.feeds.book.Store(b)
}

// feed takes feeding one step, before water is decided: a line that a feed has
// in hand is lent to it.
func (l *Loop) feed(now garden.Moment) {
	b := l.feeds.book.Load()
	if b == nil {
		return
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	switch views, hours := b.plan.NeedsViews(b.state, now, &l.obs); {
	case hours:
		l.views = l.p.Plan.Look(l.p.State, now, l.views[:0])
	case views:
		l.views = l.p.Plan.Glance(l.p.State, now, l.views[:0])
	}
	b.plan.Step(b.state, now, &feeding.Seen{Obs: &l.obs, Zones: l.views, AutoOff: l.p.State.AutoOff}, &b.out)
	kept := l.keepFeeds(now)
	if !kept {
		b.late = append(b.late, b.out.Records...)
	}
	for _, w := range b.out.Wishes {
		o := w.Order
		o.ID = l.p.State.NextOrder
		l.p.State.NextOrder++
		b.state.Bind(w.Zone, o, now)
		if kept {
			l.feeds.orders = append(l.feeds.orders, o)
		} else {
			l.feeds.unkept = append(l.feeds.unkept, o)
		}
	}
	b.plan.Doubts(b.state, now, func(z garden.ZoneID, factor float64) { l.p.Plan.Doubt(l.p.State, z, factor) })
	b.plan.Foods(b.state, func(z garden.ZoneID, load float64) { l.p.Plan.Food(l.p.State, z, load) })
	l.p.State.TakeBack()
	b.plan.Lent(b.state, func(id garden.LineID, open, dry bool) {
		if dry {
			l.p.Plan.KeepDry(l.p.State, id)
		} else {
			l.p.Plan.Lend(l.p.State, id, open)
		}
	})
	b.plan.Cans(b.state, func(z garden.ZoneID) { l.p.Plan.MayPour(l.p.State, now, z) })
	b.plan.Washes(b.state, func(z garden.ZoneID) { l.p.Plan.DelayWash(l.p.State, z) })
}

// dose has this tick's waterings carry feed where their zones are fed with every
// watering. The records come first: where they can't be written the water goes
// plain.
func (l *Loop) dose(now garden.Moment) {
	b := l.feeds.book.Load()
	if b == nil || len(l.orders) == 0 {
		return
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.plan.Dose(b.state, now, &feeding.Seen{Obs: &l.obs, Zones: l.views, AutoOff: l.p.State.AutoOff}, l.orders, &b.out)
	if len(b.out.Records) > 0 && !l.keepFeeds(now) {
		b.plan.Undose(b.state, now, l.orders)
	}
}

// keepFeeds writes what the step came to; false where an order must not follow.
func (l *Loop) keepFeeds(now garden.Moment) bool {
	b := l.feeds.book.Load()
	if b.j == nil {
		return true
	}
	steps, err := b.addSteps(b.out.Records)
	l.check(now, "keep the steps of a feed", err)
	if len(b.out.Events)+len(b.lateEvents) > 0 {
		l.check(now, "keep the gardener's list", b.addEvents(b.out.Events))
	}
	if s := b.state.Snapshots(); s != nil {
		l.check(now, "keep the ledgers of nutrients", b.j.KeepLedgers(s))
	}
	if err == nil && len(steps) > 0 {
		l.check(now, "keep a feed", b.given(now, steps))
	}
	return err == nil
}

// retryUnkept is how long a feed waits whose steps could not be written.
const retryUnkept = time.Hour

// requestFeeds hands the feeds' orders to the guard.
func (l *Loop) requestFeeds(now garden.Moment, env valves.Env) {
	for _, o := range l.feeds.orders {
		l.request(now, env, o)
	}
	for _, o := range l.feeds.unkept {
		r := garden.Refusal{Order: o.ID, Line: o.Line, Zone: o.Zone, At: now, Cause: garden.NoJournal, Until: now.Mono + retryUnkept}
		l.obs.Refused = append(l.obs.Refused, r)
		l.p.Tell.Refused(now, o, r)
	}
	l.feeds.orders, l.feeds.unkept = l.feeds.orders[:0], l.feeds.unkept[:0]
}

// Feeds is the loop's feeding book, nil where nothing is fed or the past could
// not be read. It is there once Begin has returned.
func (l *Loop) Feeds() *FeedBook { return l.feeds.book.Load() }

// errNoFeeds tells that there is no list of work.
var errNoFeeds = errors.New("this gateway keeps no list of work: its journal could not be read, or it is still starting")

// TaskDone enters that a task was done, and tells the water account what was
// poured.
func (l *Loop) TaskDone(now garden.Moment, id string, r task.Report, who string) error {
	b := l.feeds.book.Load()
	if b == nil {
		return errNoFeeds
	}
	poured, err := b.Done(now, id, r)
	for _, w := range poured {
		l.Ask(now, garden.Ask{Kind: garden.GardenerWatered, Zone: w.Zone, Litres: w.Litres, Who: who})
	}
	return err
}

// Rounds is the gardener's list.
func (d *Desk) Rounds(ctx context.Context) (Rounds, error) {
	var out Rounds
	err := d.inbox.Do(ctx, func(now garden.Moment) {
		if b := d.loop.feeds.book.Load(); b != nil {
			out = b.List(now.Wall)
			out.TapSalts = d.loop.tapSalts(now)
			if d.Reads != nil {
				out.Reads = d.Reads()
			}
		}
	})
	switch {
	case err != nil:
		return Rounds{}, err
	case out.At.IsZero():
		return Rounds{}, errNoFeeds
	}
	return out, nil
}

func (l *Loop) tapSalts(now garden.Moment) (out []TapSalts) {
	for _, v := range l.p.Plan.Look(l.p.State, now, nil) {
		if v.Salts.Kept() {
			out = append(out, TapSalts{v.Zone, v.Salts})
		}
	}
	return out
}

// TaskDone enters that a task was done.
func (d *Desk) TaskDone(ctx context.Context, id string, r task.Report, who string) error {
	var failed error
	if err := d.inbox.Do(ctx, func(now garden.Moment) { failed = d.loop.TaskDone(now, id, r, who) }); err != nil {
		return err
	}
	return failed
}

// TaskDropped enters that a task won't be done.
func (d *Desk) TaskDropped(ctx context.Context, id, reason string) error {
	var failed error
	err := d.inbox.Do(ctx, func(now garden.Moment) {
		if b := d.loop.feeds.book.Load(); b != nil {
			failed = b.Drop(now, id, reason)
		} else {
			failed = errNoFeeds
		}
	})
	if err != nil {
		return err
	}
	return failed
}

// Note keeps an observation and answers it.
func (d *Desk) Note(ctx context.Context, o Observation, who string) (feeding.Noted, error) {
	var out feeding.Noted
	var failed error
	err := d.inbox.Do(ctx, func(now garden.Moment) {
		if b := d.loop.feeds.book.Load(); b != nil {
			out, failed = b.Note(now, o, who)
		} else {
			failed = errNoFeeds
		}
	})
	if err != nil {
		return feeding.Noted{}, err
	}
	return out, failed
}

// Drained tells the loop of a reading that is on the journal already.
func (d *Desk) Drained(r feeding.Drainage) {
	if b := d.loop.feeds.book.Load(); b != nil {
		b.Drained(r)
	}
}

// PageRounds is the list as the page shows it.
type PageRounds struct{ desk *Desk }

// PageRounds returns the page's view of the list.
func (d *Desk) PageRounds() PageRounds { return PageRounds{d} }

// List returns the open tasks, the most pressing first.
func (r PageRounds) List(now time.Time) []task.Listed {
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	all, err := r.desk.Rounds(ctx)
	if err != nil {
		return nil
	}
	return all.Tasks
}

// Done ticks a task.
func (r PageRounds) Done(ctx context.Context, id string, rep task.Report) error {
	return r.desk.TaskDone(ctx, id, rep, "page")
}

// NextFeed says when a zone is fed next.
func (r PageRounds) NextFeed(z garden.ZoneID) string {
	b := r.desk.loop.feeds.book.Load()
	if b == nil {
		return ""
	}
	v, ok := b.Zone(z)
	if !ok || !v.Fed {
		return ""
	}
	return v.Words
}

var _ FeedJournal = (*journal.Journal)(nil)

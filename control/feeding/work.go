package feeding

import (
	"errors"
	"fmt"
	"time"

	"fabricpot/control"
	"fabricpot/control/feed"
	"fabricpot/control/garden"
	"fabricpot/control/task"
)

// ChangeShare is by how much an open task's litres must differ to be changed.
const ChangeShare = 0.2

// mostFlush is how many times a zone's mix a flush by hand is at most.
const mostFlush = 3

// openFeed puts the feed that the sequence handed to the gardener on the list.
func (p *Plan) openFeed(st *State, i int, now garden.Moment, zv *control.ZoneView, out *Output) {
	zp, zs := &p.zones[i], &st.zones[i]
	r, err := feed.NewRecipe(p.g, zp.spec.Products, zs.portio.NPPM, zs.seq.Planned(), garden.Injector{})
	if err != nil {
		// The plan was checked with this very recipe.
		return
	}
	in := task.FeedInput{
		Zone: zp.zone, Name: zp.name, Feed: zs.seq.Feed(), Recipe: r, Why: zs.due.Words(), Opened: now.Wall,
		VolumeL: zp.volumeL, CatchUp: zs.due.Missed > 0, HoseLPM: p.g.HoseLPM,
	}
	if zv.OnProbe {
		in.DryKnown = true
		in.Dry = float64(zv.Water) < (float64(zv.Refill)+zp.lower)/2
		in.RoomL = garden.Known(max(0, (float64(zv.Capacity)-float64(zv.Water))*zp.volumeL))
	}
	t, err := task.NewFeed(in)
	if err != nil {
		return
	}
	st.add(t, out)
}

func (st *State) add(t task.Task, out *Output) {
	if e, ok := st.book.Open(t); ok {
		out.Events = append(out.Events, e)
	}
}

// work keeps the rest of the list: water that no line brings, flushes, the
// weekly round, and a feeding task whose entry was lost.
func (p *Plan) work(st *State, now garden.Moment, v *Seen, out *Output) {
	open := st.book.List(now.Wall)
	byHand := false
	for i := range p.zones {
		if i >= len(v.Zones) {
			break
		}
		zp, zs := &p.zones[i], &st.zones[i]
		if zp.line == "" {
			byHand = true
			p.waterTask(st, i, now, &v.Zones[i], open, out)
		} else {
			p.standIn(st, i, now, &v.Zones[i], open, out)
		}
		if zs.seq == nil {
			continue
		}
		if v.Zones[i].Empty {
			p.withdraw(st, i, now, open, pulled, out)
			if t := find(open, task.Flush, zp.zone); t != nil {
				st.overtake(t, pulled, now, out)
			}
			continue
		}
		switch p.flushesByHand(st, i, now, &v.Zones[i]) {
		case true:
			p.flushTask(st, i, now, open, out)
		case false:
			p.takeBackFlush(st, i, now, &v.Zones[i], open, out)
		}
		if zs.seq.Phase() == feed.WithGardener && feed.MustLeach(zs.reading(now), zs.feedMS) {
			p.withdraw(st, i, now, open, "drainage reads salty: flush first, the feed comes after", out)
		}
		if zs.seq.Phase() == feed.WithGardener {
			byHand = true
			if find(open, task.Feed, zp.zone) == nil && !st.opened(out, task.Feed, zp.zone) {
				p.openFeed(st, i, now, &v.Zones[i], out)
			}
		}
	}
	switch old := find(open, task.Measure, ""); {
	case p.g.HoseLPM.Known && old != nil:
		st.overtake(old, "the garden file tells it", now, out)
	case byHand && !p.g.HoseLPM.Known:
		st.add(task.NewMeasure(now.Wall), out)
	}
	if task.RoundDue(now.Wall, st.lastRound) && find(open, task.Round, "") == nil {
		var stops []task.Stop
		for i := range p.zones {
			if p.zones[i].plants > 0 {
				stops = append(stops, task.Stop{Zone: p.zones[i].zone, Name: p.zones[i].name})
			}
		}
		if t, err := task.NewRound(now.Wall, stops); err == nil {
			st.add(t, out)
			st.lastRound = now.Wall
		}
	}
}

func find(open []task.Listed, k task.Kind, z garden.ZoneID) *task.Listed {
	for i := range open {
		if open[i].Kind == k && open[i].Zone == z {
			return &open[i]
		}
	}
	return nil
}

// opened reports whether this very step put such a task on the list.
func (st *State) opened(out *Output, k task.Kind, z garden.ZoneID) bool {
	for i := range out.Events {
		if t := &out.Events[i].Task; t.Kind == k && t.Zone == z {
			return true
		}
	}
	return false
}

// flushesByHand reports whether a person is to flush a zone: where no line can, and
// where its line may not because nothing trustworthy tells how wet the mix is.
func (p *Plan) flushesByHand(st *State, i int, now garden.Moment, zv *control.ZoneView) bool {
	zs := &st.zones[i]
	switch {
	case !zs.flushL.Known || zs.seq.Phase() == feed.Flushing:
		return false
	case p.zones[i].feed.Flush.Line == "":
		return true
	}
	return !zv.OnProbe && now.Wall.Sub(zs.wanted) >= handFlushAfter
}

// takeBackFlush takes a flush off the list that the zone's line gives or can give
// again. One that is only put off, as by a feed that is near, stays.
func (p *Plan) takeBackFlush(st *State, i int, now garden.Moment, zv *control.ZoneView, open []task.Listed, out *Output) {
	zp, zs := &p.zones[i], &st.zones[i]
	can := zs.seq.Phase() == feed.Flushing || zv.OnProbe && !zs.wanted.IsZero()
	if zp.feed.Flush.Line == "" || !can {
		return
	}
	if t := find(open, task.Flush, zp.zone); t != nil {
		if e, err := st.book.Overtake(t.ID, "its line washes it now", now.Wall); err == nil {
			out.Events = append(out.Events, e)
		}
	}
}

// flushTask asks for plain water through a pot that no line brings it to now.
func (p *Plan) flushTask(st *State, i int, now garden.Moment, open []task.Listed, out *Output) {
	zp, zs := &p.zones[i], &st.zones[i]
	if find(open, task.Flush, zp.zone) != nil {
		return
	}
	t, err := task.NewWater(task.WaterInput{
		Zone: zp.zone, Name: zp.name, Day: now.Wall, Litres: min(zs.flushAll, mostFlush*zp.volumeL), VolumeL: zp.volumeL, Leach: true,
		Why: zs.flushWhy, HoseLPM: p.g.HoseLPM,
	})
	if err == nil {
		zs.flushTaskL = t.Litres
		st.add(t, out)
	}
}

// withdraw takes a feed off the gardener's list, as where salty drainage forbids it: the
// flush comes first then, and the feed is due again after it.
func (p *Plan) withdraw(st *State, i int, now garden.Moment, open []task.Listed, why string, out *Output) {
	zp, zs := &p.zones[i], &st.zones[i]
	t := find(open, task.Feed, zp.zone)
	if t == nil {
		return
	}
	e, err := st.book.Overtake(t.ID, why, now.Wall)
	if err != nil {
		return
	}
	out.Events = append(out.Events, e)
	out.Records = append(out.Records, zs.seq.Withdraw(zp.feed, now))
}

// Entered is what a report from a person came to.
type Entered struct {
	Records []feed.Record
	Events  []task.Event
	// Poured is what reached zones as water, for the water account.
	Poured []Poured
}

// Poured is water or solution that a person gave a zone, L.
type Poured struct {
	Zone   garden.ZoneID
	Litres float64
}

// ErrLitres tells of more water than a person can have given a zone.
var ErrLitres = errors.New("more litres than can be meant")

// mayPour refuses litres over the zone's mix, a flush over three times that: they
// would say of a dry pot that it is full.
func (p *Plan) mayPour(t *task.Task, got garden.Measured) error {
	i := p.Index(t.Zone)
	if i < 0 || !got.Known {
		return nil
	}
	most := p.zones[i].volumeL
	if t.Kind == task.Flush {
		most *= mostFlush
	}
	if most = max(most, t.Litres); got.Value > most*(1+1e-9) {
		return fmt.Errorf("%w: %.4g L for %s, expected up to %.4g L; nothing was entered", ErrLitres, got.Value, p.zones[i].name, most)
	}
	return nil
}

// Done enters that a task was done. It answers task.ErrAsk where that was
// reported before and the report does not say Again, and ErrLitres. Litres not said
// are taken as the task's own.
func (p *Plan) Done(st *State, now garden.Moment, id string, r task.Report) (Entered, error) {
	var in Entered
	var open *task.Listed
	list := st.book.List(now.Wall)
	for k := range list {
		if list[k].ID == id {
			open = &list[k]
		}
	}
	if open != nil {
		if err := p.mayPour(&open.Task, r.Litres); err != nil {
			return in, err
		}
	} else if t, ended := st.book.Ended(id); ended && r.Again {
		if err := p.mayPour(&t, r.Litres); err != nil {
			return in, err
		}
	}
	if open == nil {
		// Ask first, before anything is entered.
		e, err := st.book.Done(id, r)
		if err != nil {
			return in, err
		}
		in.Events = append(in.Events, e)
		open = &task.Listed{Task: e.Task}
	}
	i := p.Index(open.Zone)
	litres := open.Litres
	if r.Litres.Known {
		litres = r.Litres.Value
	}
	if open.Kind == task.Feed && i >= 0 && st.zones[i].seq != nil {
		zp, zs := &p.zones[i], &st.zones[i]
		if litres == 0 && !r.Litres.Known {
			litres = zs.portio.Litres
		}
		rec, err := zs.seq.Given(zp.feed, now, litres, p.ppm(i, now), zp.stageOf(now.Wall), r.Again)
		if errors.Is(err, feed.ErrAsk) {
			return Entered{}, fmt.Errorf("%w: %w", task.ErrAsk, err)
		}
		if err != nil {
			return Entered{}, err
		}
		_ = zs.ledger.Feed(rec.Grams())
		p.dissolve(i, zs, rec.Grams().N)
		in.Records = append(in.Records, rec)
		p.judge(st, i, now)
	}
	if len(in.Events) == 0 {
		if !r.Litres.Known && litres > 0 {
			r.Litres = garden.Known(litres)
		}
		e, err := st.book.Done(id, r)
		if err != nil {
			return Entered{}, err
		}
		in.Events = append(in.Events, e)
	}
	if i >= 0 && open.Kind == task.Flush && litres >= feed.FlushEnough*open.Litres {
		p.flushed(st, i, now)
	}
	if i >= 0 && litres > 0 {
		// A can that is ticked was poured until it was empty or ran out below.
		st.zones[i].hand.filled = st.zones[i].hand.filled || open.Kind == task.Water
		switch open.Kind {
		case task.Feed, task.Water, task.Flush:
			in.Poured = append(in.Poured, Poured{Zone: open.Zone, Litres: litres})
		}
	}
	for _, e := range in.Events {
		st.recall(p, e)
	}
	return in, nil
}

// ppm is the strength a zone is fed at today.
func (p *Plan) ppm(i int, now garden.Moment) feed.NPK {
	return p.zones[i].ppmAt[p.zones[i].stageOf(now.Wall)]
}

func (p *Plan) flushed(st *State, i int, now garden.Moment) {
	// What drained is booked as the water is: what the pot has no room for.
	zs := &st.zones[i]
	zs.flushed, zs.drain = now.Wall, garden.Measured{}
	zs.salts.Guess = false
	zs.flushL, zs.wanted, zs.flushWhy = garden.Measured{}, time.Time{}, ""
}

// Drop enters that a task won't be done, with the reason.
func (p *Plan) Drop(st *State, now garden.Moment, id, reason string) (Entered, error) {
	var in Entered
	e, err := st.book.Drop(id, reason, now.Wall)
	if err != nil {
		return in, err
	}
	in.Events = append(in.Events, e)
	if i := p.Index(e.Task.Zone); i >= 0 && e.Task.Kind == task.Feed && st.zones[i].seq != nil && st.zones[i].seq.Phase() == feed.WithGardener {
		rec, err := st.zones[i].seq.Drop(p.zones[i].feed, now)
		if err != nil {
			return in, err
		}
		in.Records = append(in.Records, rec)
		p.judge(st, i, now)
	}
	return in, nil
}

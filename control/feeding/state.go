package feeding

import (
	"fmt"
	"time"

	"fabricpot/control/feed"
	"fabricpot/control/garden"
	"fabricpot/control/task"
)

// State is what feeding remembers. One goroutine owns it.
type State struct {
	zones []zoneState
	book  *task.Book
	// began is when tending began as far as the journal knows, zero until a
	// confirmed clock told.
	began     time.Time
	hour      time.Duration // of the last hourly look, on Mono
	hasHour   bool
	wall      time.Time // of it
	lastRound time.Time
	snap      time.Time // of the last snapshots
	snapshots []Snapshot
}

type zoneState struct {
	// empty tells that its plants were pulled, by the latest look.
	empty bool
	// seq is nil where the zone is not fed.
	seq    *feed.State
	ledger feed.Ledger
	has    bool // ledger has begun
	at     time.Time
	due    feed.Due
	stage  feed.Stage
	portio feed.Portion
	ppm    feed.NPK
	feedMS garden.Measured
	demand feed.NPK // g a day now
	held   feed.Held
	// plain is why the last watering of a zone that is fed with every watering
	// carried no feed.
	plain feed.Held
	// overL came since the last hourly look and found no room; sinceL came in
	// this tick.
	overL, sinceL float64
	// Usual figures of a day: loss, and what drains.
	usualLossL, usualOverL float64
	// sureDays is for how many days nitrogen lasts if more has left than the ledger says.
	sureDays float64
	drain    garden.Measured // mS/cm
	drainAt  time.Time
	flushed  time.Time
	// salts is the zone's account of them, where the water's conductivity is
	// known; flushL is how much plain water a flush is to give now, flushMS the
	// conductivity behind it, flushWhy in words; wanted is since when.
	salts      feed.Salts
	flushL     garden.Measured
	flushTaskL float64 // L, of the last task of that kind
	flushAll   float64 // L, of which the line's limit may leave a part for today
	flushMS    float64
	flushWhy   string
	wanted     time.Time
	// flushedL is what flushes through the line gave in this run.
	flushedL float64
	asks     []window
	// firstDue is when the first feed fell due.
	firstDue  time.Time
	order     garden.OrderID // of the sequence, in flight
	orderTill time.Duration
	// drying tells that a feed that is due waits for room in a pot that has
	// water enough: the next watering is the feed's.
	drying bool
	// washLater tells that the pot's next wash waits for its feed.
	washLater bool
	// waited is how long pot or weather have kept the feed back that is due;
	// looked, on Mono, when that was last counted.
	waited, looked time.Duration
	// hand is what a person brings in place of the zone's line.
	hand handState
}

// window is a time in which a recovery asks for a feed.
type window struct{ from, to time.Time }

// Snapshot is a zone's ledger at a time, for the journal: with it a restart
// knows what is in the pot.
type Snapshot struct {
	Zone garden.ZoneID `json:"zone"`
	At   time.Time     `json:"at"`
	// Began is when tending began.
	Began  time.Time   `json:"began"`
	Ledger feed.Ledger `json:"ledger"`
	// Salts is the account of salts, nil where none is kept.
	Salts *feed.Salts `json:"salts,omitempty"`
}

// Drainage is the conductivity of what drained from a zone, mS/cm.
type Drainage struct {
	Zone garden.ZoneID
	At   time.Time
	MS   float64
}

// Past is what earlier runs left behind, each oldest first. Snapshots hold the
// latest of each zone.
type Past struct {
	Records   []feed.Record
	Snapshots []Snapshot
	Events    []task.Event
	Drained   []Drainage
}

// Restore makes the state at the start, also where nothing came before.
func (p *Plan) Restore(past Past) (*State, error) {
	st := &State{zones: make([]zoneState, len(p.zones)), book: task.NewBook(past.Events)}
	of := map[garden.ZoneID][]feed.Record{}
	for _, r := range past.Records {
		of[r.Zone] = append(of[r.Zone], r)
	}
	for i := range p.zones {
		zp, zs := &p.zones[i], &st.zones[i]
		if zp.feed == nil {
			continue
		}
		var err error
		if zs.seq, err = feed.Rebuild(zp.feed, of[zp.zone]); err != nil {
			return nil, err
		}
	}
	for _, s := range past.Snapshots {
		i := p.Index(s.Zone)
		if i < 0 || p.zones[i].feed == nil || !sound(&s.Ledger) {
			continue
		}
		zs := &st.zones[i]
		zs.ledger, zs.has, zs.at = s.Ledger, true, s.At
		if p.saltKnown() {
			zs.salts = p.freshSalts(i, p.zones[i].capacity, zs.ledger.Pool.N)
			zs.salts.Guess = true
			if s.Salts != nil && soundSalts(*s.Salts) {
				zs.salts = *s.Salts
			}
		}
		if st.began.IsZero() || s.Began.Before(st.began) {
			st.began = s.Began
		}
		if s.At.After(st.snap) {
			st.snap = s.At
		}
		for _, r := range of[s.Zone] {
			// The journal keeps milliseconds, and a tick's snapshot is taken
			// before its records.
			if r.Gives() && !r.At.Before(s.At.Truncate(time.Millisecond)) {
				if err := zs.ledger.Feed(r.Grams()); err != nil {
					return nil, fmt.Errorf("feeding: zone %q: %w", s.Zone, err)
				}
				p.dissolve(i, zs, r.Grams().N)
			}
		}
	}
	for _, d := range past.Drained {
		st.drained(p, d)
	}
	for _, e := range past.Events {
		st.recall(p, e)
	}
	for i := range st.zones {
		zs := &st.zones[i]
		if zs.seq == nil {
			continue
		}
		if at := zs.seq.Flushed(); at.After(zs.flushed) {
			zs.flushed = at
		}
		if zs.flushed.After(zs.drainAt) {
			zs.drain = garden.Measured{}
		}
	}
	return st, nil
}

// sound reports whether a ledger read back can be reckoned with; one that holds
// nothing at all is given the usual release.
func sound(l *feed.Ledger) bool {
	if l.ReleaseDays == 0 {
		l.ReleaseDays = feed.StarterDays
	}
	for _, a := range [...]feed.NPK{l.Starter, l.Reserve, l.Pool, l.Fed, l.Taken, l.Leached} {
		if !a.Valid() {
			return false
		}
	}
	return garden.Finite(l.ReleaseDays) && l.ReleaseDays >= 1
}

// recall takes up what an event of the book means beyond the book.
func (st *State) recall(p *Plan, e task.Event) {
	if e.Task.Kind == task.Round && (e.Kind == task.Opened || e.Kind == task.Done) && e.At.After(st.lastRound) {
		st.lastRound = e.At
	}
	i := p.Index(e.Task.Zone)
	if i < 0 {
		return
	}
	zs := &st.zones[i]
	switch {
	case e.Task.Kind == task.Water && e.Kind == task.Done && !(e.Litres.Known && e.Litres.Value <= 0):
		zs.hand.tickedAt = e.At
	case e.Task.Kind == task.Flush && (e.Kind == task.Opened || e.Kind == task.Changed):
		zs.flushTaskL = e.Task.Litres
	case e.Task.Kind == task.Flush && e.Kind == task.Done:
		if !e.Litres.Known || e.Litres.Value >= feed.FlushEnough*zs.flushTaskL {
			zs.flushed = e.At
		}
	case e.Task.Kind == task.Look && e.Kind == task.Opened && e.Task.ID == recoveryLook(e.Task.Zone, e.Task.Opened):
		zs.recover(e.Task.Opened)
	}
}

// recoveryLook is the name of the look that a recovery plan begins with.
func recoveryLook(z garden.ZoneID, start time.Time) string {
	return fmt.Sprintf("look-%s-recovery-%s", z, start.Format("20060102"))
}

// recover notes the two windows in which a recovery asks for a feed: after the
// soak, and, if it is due by then, after the look at the new growth.
func (zs *zoneState) recover(start time.Time) {
	const day = 24 * time.Hour
	zs.asks = append(zs.asks, window{start, start.Add(day)}, window{start.Add(5 * day), start.Add(10 * day)})
}

func (zs *zoneState) asked(at time.Time) bool {
	for _, w := range zs.asks {
		if !at.Before(w.from) && at.Before(w.to) {
			return true
		}
	}
	return false
}

// Drained enters a reading of what drained from a zone. It refuses one that no pot
// gives.
func (p *Plan) Drained(st *State, d Drainage) error {
	if err := feed.CheckDrainage(d.MS); err != nil {
		return err
	}
	st.drained(p, d)
	return nil
}

// drained leaves out what an older journal may hold that no pot gives.
func (st *State) drained(p *Plan, d Drainage) {
	i := p.Index(d.Zone)
	if i < 0 || feed.CheckDrainage(d.MS) != nil {
		return
	}
	zs := &st.zones[i]
	zs.drain, zs.drainAt = garden.Known(d.MS), d.At
	// A reading that the kept account knows of already is not entered again.
	if zs.seq != nil && zs.has && p.saltKnown() && d.At.After(zs.at) {
		_ = zs.salts.Read(d.MS, p.zones[i].held())
	}
}

// Bind tells the number under which a zone's wish was ordered, and until when
// its line can be open.
func (st *State) Bind(zone int, o garden.Order, now garden.Moment) {
	zs := &st.zones[zone]
	zs.seq.Bind(o.ID)
	zs.order, zs.orderTill = o.ID, now.Mono+o.MaxOn+15*time.Minute
}

// Lent calls each with every line that is in a feed's hands or kept dry for one, whether
// an order of the feed may be open on it, and whether it is only kept dry: then what a
// person asks for is given.
func (p *Plan) Lent(st *State, each func(line garden.LineID, open, dry bool)) {
	for i := range st.zones {
		zs := &st.zones[i]
		if zs.seq == nil || p.zones[i].led {
			continue
		}
		switch {
		case zs.seq.Phase() == feed.Flushing:
			each(p.zones[i].line, zs.order != 0, false)
		case zs.seq.Busy():
			each(p.zones[i].feed.Line, zs.order != 0, false)
		case zs.drying:
			each(p.zones[i].line, false, true)
		}
	}
}

// Washes calls each with the fed zones whose waterings may not leach now, those too
// that share the line of a zone whose feed is due or near.
func (p *Plan) Washes(st *State, each func(zone garden.ZoneID)) {
	for i := range st.zones {
		if !st.zones[i].washLater {
			continue
		}
		for _, s := range p.lines[p.zones[i].line].zones {
			if p.zones[s.zone].feed != nil {
				each(p.zones[s.zone].zone)
			}
		}
	}
}

// Doubts calls each with every fed zone and the factor by which the variance of
// its moisture readings is larger than usual after its last feed.
func (p *Plan) Doubts(st *State, now garden.Moment, each func(zone garden.ZoneID, variance float64)) {
	if !now.Synced {
		return
	}
	for i := range st.zones {
		zs := &st.zones[i]
		factor := 1.0
		if zs.seq == nil {
			each(p.zones[i].zone, factor) // it may have been fed before a reload
			continue
		}
		if at, stage, ok := zs.seq.Last(); ok {
			factor = feed.ReadingDoubt(now.Wall.Sub(at), p.zones[i].addedMSAt[min(stage, feed.Late)].Or(0))
		}
		each(p.zones[i].zone, factor)
	}
}

// Foods calls each with every zone and what dissolved food adds to its salts by the
// ledger, mS/cm · L: 0 in one that nobody feeds.
func (p *Plan) Foods(st *State, each func(zone garden.ZoneID, load float64)) {
	for i := range st.zones {
		load := 0.0 // also where a reload ended its feeding
		if zs := &st.zones[i]; zs.seq != nil && zs.has {
			load = feed.FoodSalts(zs.ledger.Pool.N, p.zones[i].slope)
		}
		each(p.zones[i].zone, load)
	}
}

// Busy reports whether any line is in a feed's hands.
func (p *Plan) Busy(st *State) bool {
	busy := false
	p.Lent(st, func(garden.LineID, bool, bool) { busy = true })
	return busy
}

// Snapshots are the ledgers that the last Step wants kept; nil most of the time.
func (st *State) Snapshots() []Snapshot { return st.snapshots }

// Tasks lists the open tasks, the most pressing first.
func (st *State) Tasks(now time.Time) []task.Listed { return st.book.List(now) }

package valves

import (
	"fmt"
	"math"
	"time"

	"fabricpot/control/garden"
)

// settleLater queues an outcome for Flush. The lock is held. Where the journal
// has been dead for so long that the backlog is full, the oldest go: they stay
// unfinished intents or were on the no-journal budget, and both err on the dry
// side.
func (g *Guard) settleLater(d garden.Delivery) {
	if len(g.unsettled) >= backlog {
		g.unsettled = g.unsettled[1:]
		g.lost++
	}
	g.unsettled = append(g.unsettled, d)
}

// Flush writes the outcomes that wait, oldest first, and what lines that are not
// confirmed closed may have given meanwhile. It may take as long as the
// card does, so it never runs in the goroutine that drives Advance. What can't
// be written is kept for the next call.
func (g *Guard) Flush() error {
	g.asking.Lock()
	defer g.asking.Unlock()
	return g.flush()
}

// flush is Flush with asking held.
func (g *Guard) flush() error {
	err := g.write()
	if err != nil {
		g.settleBeside()
	}
	return err
}

// write writes what waits, oldest first, until something can't be.
func (g *Guard) write() error {
	if err := g.raise(); err != nil {
		return err
	}
	for {
		g.mu.Lock()
		if len(g.unsettled) == 0 {
			g.mu.Unlock()
			return nil
		}
		d := g.unsettled[0]
		g.mu.Unlock()
		if err := g.settle(d); err != nil {
			g.mu.Lock()
			g.ledgerErr = err
			g.mu.Unlock()
			return fmt.Errorf("valves: write the outcome of order %d: %w", d.Order, err)
		}
		g.mu.Lock()
		// Only flush removes from the front, except when the backlog overflows.
		if len(g.unsettled) > 0 && g.unsettled[0].Order == d.Order {
			g.unsettled = g.unsettled[1:]
		}
		g.ledgerErr = nil
		g.mu.Unlock()
	}
}

func (g *Guard) settle(d garden.Delivery) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("the journal panicked: %v", r)
		}
	}()
	return g.ledger.Settle(d)
}

// Restore charges what earlier runs gave against the rests and caps. An intent
// without an outcome is charged in full: what it could give by its deadline, or
// what its line gives in all the time since, whichever is more; that time is
// since the intent where it was written on this very clock, else sinceBoot,
// how long the board has been up. What it charged is returned and settled as
// Unfinished, so that the next start finds it among the deliveries. Where the line
// is not confirmed closed yet, what may flow until it is comes on top: Advance
// returns that, and the intent stays unfinished until then; Flush raises it to what
// was charged, which another start on another clock could not reckon. There what the
// intent knows of counts as given before, and what the board has been up for on top.
//
// Call it once, after CloseAll and Recall and before the first Request. Times of an
// earlier clock count as now unless both wall clocks were confirmed. What no journal
// has yet counts in the no-journal budget too: a new start is no new journal.
func (g *Guard) Restore(now garden.Moment, sinceBoot time.Duration, unfinished []garden.Intent, past []garden.PastDelivery) []garden.Delivery {
	g.mu.Lock()
	defer g.mu.Unlock()
	for _, d := range past {
		g.remember(d.Order)
		if d.Unwritten {
			w := d.Delivery
			if !d.SameClock {
				w.OpenedAt, w.ClosedAt = now.Add(-d.Open), now
			}
			g.settleLater(w)
		}
		ln, ok := g.index(d.Line)
		if !ok || !(d.Litres >= 0) || math.IsInf(d.Litres, 0) {
			continue
		}
		at, charged := restored(d.ClosedAt, d.SameClock, now, &g.walls), max(d.Litres, nominal(ln.flowLPH, d.Open))
		ln.book(now, charge{litres: charged, survival: d.Kind == garden.Survival, at: at, unwritten: d.Unwritten})
		if d.Unwritten {
			ln.unwrittenL += charged
		}
	}
	var out []garden.Delivery
	for _, u := range unfinished {
		g.remember(u.Order.ID)
		ln, ok := g.index(u.Order.Line)
		since := max(0, sinceBoot)
		if u.SameClock && u.At.Mono <= now.Mono {
			since = now.Mono - u.At.Mono
		}
		d := garden.Delivery{
			Order: u.Order.ID, Line: u.Order.Line, Zone: u.Order.Zone, Kind: u.Order.Kind,
			Litres: finiteOrZero(u.MaxLitres), Open: u.Order.MaxOn, OpenedAt: u.At, ClosedAt: now, End: garden.Unfinished,
		}
		if !u.SameClock {
			d.OpenedAt.Mono = now.Mono - since
		}
		if ok {
			if !u.SameClock && ln.pos == unconfirmed {
				// It may have run on an earlier clock as it does on this one.
				since += onTime(d.Litres, ln.flowLPH)
			}
			if flowed := nominal(ln.flowLPH, since); flowed > d.Litres {
				d.Litres, d.Open = flowed, since
			}
			ln.book(now, charge{litres: d.Litres, survival: d.Kind == garden.Survival, at: stampOf(now), unwritten: u.Unwritten})
			if u.Unwritten {
				ln.unwrittenL += d.Litres
			}
		}
		out = append(out, d)
		if ok && ln.pos == unconfirmed {
			ln.owed = append(ln.owed, owing{d, since, mostL{
				written: finiteOrZero(u.MaxLitres), litres: d.Litres, pulseL: nominal(ln.flowLPH, u.Order.MaxOn)}, u.Unwritten})
			continue
		}
		g.settleLater(d)
	}
	return out
}

// owing is an earlier run's opening on a line that is not confirmed closed: what
// it was charged with by Restore, and how long it may have been open then.
type owing struct {
	charged garden.Delivery
	since   time.Duration
	most    mostL
	// unwritten tells that it is on the no-journal budget, and no journal has it.
	unwritten bool
}

// tellShare of what was charged is worth telling of besides.
const tellShare = 0.01

// pay charges what may have flowed since Restore through a line that is confirmed
// closed at last. The lock is held.
func (g *Guard) pay(now garden.Moment, ln *line) {
	for _, o := range ln.owed {
		d := o.charged
		from := d.ClosedAt
		later := max(0, now.Since(from))
		d.ClosedAt = now
		if flowed := nominal(ln.flowLPH, o.since+later); flowed > d.Litres {
			more := d
			more.Litres, more.Open, more.OpenedAt = flowed-d.Litres, later, from
			ln.charges = append(ln.charges.prune(now), charge{litres: more.Litres, survival: d.Kind == garden.Survival, at: stampOf(now), unwritten: o.unwritten})
			if o.unwritten {
				ln.unwrittenL += more.Litres
			}
			if more.Litres > tellShare*d.Litres {
				g.ended = append(g.ended, more)
			}
			d.Litres, d.Open = flowed, o.since+later
		}
		ln.closed, ln.lastClose = true, stampOf(now)
		g.settleLater(d)
	}
	ln.owed = nil
}

// remember refuses an order that an earlier run had already taken up.
func (g *Guard) remember(id garden.OrderID) {
	g.granted[g.grantedN%remembered] = id
	g.grantedN++
}

// book adds a restored charge and keeps the latest close.
func (ln *line) book(now garden.Moment, c charge) {
	if c.at.age(now) < day {
		ln.charges = append(ln.charges, c)
	}
	if !ln.closed || c.at.age(now) < ln.lastClose.age(now) {
		ln.closed, ln.lastClose = true, c.at
	}
}

func finiteOrZero(v float64) float64 {
	if !garden.Finite(v) || v < 0 {
		return 0
	}
	return v
}

package valves

import (
	"fmt"
	"slices"

	"fabricpot/control/garden"
)

// mostL is what may have flowed on an intent that has no outcome yet, and what of
// that the journal knows of, L. pulseL is what its order could give at most.
type mostL struct{ litres, written, pulseL float64 }

// nearShare of a pulse is how near what may have flowed comes to what was reckoned
// before that is raised: until the next round writes it, more runs.
const nearShare = 0.1

// mount keeps what was reckoned ahead of what may have flowed by now, by a pulse at
// most: after a power cut the journal is all there is to go by, and it must not know
// of less than ran. A line that stays open for a day is not written at each round.
func (m *mostL) mount(litres float64) {
	if litres > m.litres-nearShare*m.pulseL {
		m.litres = litres + m.pulseL
	}
}

// mount reckons what a line that is not confirmed closed may have given by now: a
// board that is started anew has another clock, and nobody knows then for how long
// it ran on the one before. The lock is held.
func (ln *line) mount(now garden.Moment) {
	for i := range ln.owed {
		o := &ln.owed[i]
		o.most.mount(nominal(ln.flowLPH, o.since+max(0, now.Since(o.charged.ClosedAt))))
	}
	if p := ln.pulse; p != nil && !p.unwritten {
		p.most.mount(nominal(ln.flowLPH, now.Since(p.openedAt)))
	}
}

// most finds what is reckoned of an order. The lock is held.
func (ln *line) most(id garden.OrderID) *mostL {
	if p := ln.pulse; p != nil && p.order.ID == id && !p.unwritten {
		return &p.most
	}
	for i := range ln.owed {
		if ln.owed[i].charged.Order == id {
			return &ln.owed[i].most
		}
	}
	return nil
}

// toRaise is an order of whose water the journal knows too little, but for those.
func (g *Guard) toRaise(done []garden.OrderID) (ln *line, id garden.OrderID, litres float64, any bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	for _, ln := range g.lines {
		if p := ln.pulse; p != nil && ln.pos == unconfirmed && !p.unwritten && p.most.litres > p.most.written && !slices.Contains(done, p.order.ID) {
			return ln, p.order.ID, p.most.litres, true
		}
		for i := range ln.owed {
			o := &ln.owed[i]
			if o.most.litres > o.most.written && !o.unwritten && !slices.Contains(done, o.charged.Order) {
				return ln, o.charged.Order, o.most.litres, true
			}
		}
	}
	return nil, 0, 0, false
}

// raise tells the journal what lines that are not confirmed closed may have given, of
// each order once: while a slow card writes more may have run. asking is held.
func (g *Guard) raise() error {
	var done []garden.OrderID
	for {
		ln, id, litres, any := g.toRaise(done)
		if !any {
			return nil
		}
		done = append(done, id)
		err := g.raiseTo(id, litres)
		g.mu.Lock()
		g.ledgerErr = err
		if m := ln.most(id); m != nil && err == nil {
			m.written = litres
		}
		g.mu.Unlock()
		if err != nil {
			return fmt.Errorf("valves: write what order %d may have given: %w", id, err)
		}
	}
}

func (g *Guard) raiseTo(id garden.OrderID, litres float64) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("the journal panicked: %v", r)
		}
	}()
	return g.ledger.Raise(id, litres)
}

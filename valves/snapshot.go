package valves

import (
	"time"

	"fabricpot/control/garden"
)

// Status is what the page shows of a line. It is a copy.
type Status struct {
	Line garden.LineID
	// Open: energised on purpose. Confirmed: known to be closed. Neither: it
	// was commanded closed and has not confirmed it.
	Open, Confirmed bool
	// Of the pulse in progress, zero without one.
	Order    garden.Order
	OpenedAt garden.Moment
	Deadline time.Duration
	SoFarL   float64
	// Metered tells that SoFarL is what the meter counted.
	Metered bool
	// OwnLPH is that of a Delivery.
	OwnLPH float64
	// SpentL of CapL were given in the rolling day.
	SpentL, CapL float64
	// DoseL is the line's survival dose a day.
	DoseL float64
	// HeldUntil is when keeping it shut ends, zero where it is not kept shut.
	HeldUntil time.Duration
	// Attempts counts the closes commanded since the last confirmed one,
	// Failures every device error since the start.
	Attempts, Failures int
	// UnconfirmedFor is how long it has been neither open nor confirmed.
	UnconfirmedFor time.Duration
	Err            error
}

// Journal is what the guard knows of its ledger.
type Journal struct {
	// Err is what the last write failed with, nil after one that succeeded.
	Err error
	// Waiting are outcomes not written yet, Lost those given up.
	Waiting, Lost int
}

// Snapshot returns every line's status in the garden's order.
func (g *Guard) Snapshot(now garden.Moment) ([]Status, Journal) {
	return g.SnapshotInto(now, make([]Status, 0, len(g.lines)))
}

// SnapshotInto is Snapshot appended to a slice of the caller's, who asks each round.
func (g *Guard) SnapshotInto(now garden.Moment, out []Status) ([]Status, Journal) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.ready(now)
	for _, ln := range g.lines {
		spent, _, _, _ := ln.charges.sums(now)
		s := Status{
			Line: ln.id, Open: ln.pos == open, Confirmed: ln.pos == shut || ln.pos == opening,
			SpentL: spent, CapL: ln.capL, DoseL: ln.doseL,
			Attempts: ln.attempts, Failures: ln.failures, Err: ln.lastErr,
		}
		if ln.heldUntil > now.Mono {
			s.HeldUntil = ln.heldUntil
		}
		if ln.pos == unconfirmed && ln.attempts > 0 {
			s.UnconfirmedFor = max(0, now.Mono-ln.since)
		}
		if p := ln.pulse; p != nil && ln.pos != opening {
			s.Order, s.OpenedAt, s.Deadline = p.order, p.openedAt, p.deadline
			s.SoFarL = nominal(ln.flowLPH, now.Since(p.openedAt))
			if p.byMeter {
				s.SoFarL, s.Metered, s.OwnLPH = p.meteredL, true, p.own.lph(now.Since(p.openedAt))
			}
		}
		out = append(out, s)
	}
	return out, Journal{Err: g.ledgerErr, Waiting: len(g.unsettled), Lost: g.lost}
}

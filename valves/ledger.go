package valves

import (
	"fmt"
	"slices"

	"fabricpot/control/garden"
)

// Ledger remembers what was about to be done and what became of it.
type Ledger interface {
	// Intend has the order on stable storage when it returns nil. maxLitres is
	// the most that can flow by its deadline. An order already known is an
	// error.
	Intend(o garden.Order, maxLitres float64, at garden.Moment) error
	// Raise has on stable storage when it returns nil that what an intent without an
	// outcome may have given is no longer maxLitres but that much. It lowers nothing,
	// and changes nothing for an order that has no intent or an outcome.
	Raise(id garden.OrderID, maxLitres float64) error
	// Settle records an outcome; it need not be on stable storage at once. An
	// order without an intent is recorded too: it was given on the no-journal
	// budget. Settling the same order twice changes nothing.
	Settle(garden.Delivery) error
}

// beside is a Ledger that can remember elsewhere what it can't write: where a
// gateway that is killed leaves it to the next.
type beside interface {
	// IntendBeside has what Intend could not write, as it is about to open, where
	// the next run finds it when it returns nil.
	IntendBeside(o garden.Order, maxLitres float64, at garden.Moment) error
	// SettleBeside remembers there what became of it. It changes nothing for an
	// order that IntendBeside was not told of.
	SettleBeside(garden.Delivery) error
}

// intendBeside remembers an order that opens on the no-journal budget. asking is
// held.
func (g *Guard) intendBeside(o garden.Order, maxLitres float64, at garden.Moment) (err error) {
	b, ok := g.ledger.(beside)
	if !ok {
		return nil
	}
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("valves: what remembers beside the journal panicked: %v", r)
		}
	}()
	return b.IntendBeside(o, maxLitres, at)
}

// settleBeside remembers outcomes that the ledger could not take. asking is held.
func (g *Guard) settleBeside() {
	b, ok := g.ledger.(beside)
	if !ok {
		return
	}
	defer func() { _ = recover() }() // an intent there is charged in full
	g.mu.Lock()
	waiting := slices.Clone(g.unsettled)
	g.mu.Unlock()
	for _, d := range waiting {
		if b.SettleBeside(d) != nil {
			return
		}
	}
}

// NoLedger is a ledger that can't be written: every call returns Err, which leaves
// lines the no-journal budget.
type NoLedger struct{ Err error }

// Intend returns Err.
func (n NoLedger) Intend(garden.Order, float64, garden.Moment) error { return n.Err }

// Raise returns Err.
func (n NoLedger) Raise(garden.OrderID, float64) error { return n.Err }

// Settle returns Err.
func (n NoLedger) Settle(garden.Delivery) error { return n.Err }

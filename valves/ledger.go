package valves

import "fabricpot/control/garden"

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

// NoLedger is a ledger that can't be written: every call returns Err, which leaves
// lines the no-journal budget.
type NoLedger struct{ Err error }

// Intend returns Err.
func (n NoLedger) Intend(garden.Order, float64, garden.Moment) error { return n.Err }

// Raise returns Err.
func (n NoLedger) Raise(garden.OrderID, float64) error { return n.Err }

// Settle returns Err.
func (n NoLedger) Settle(garden.Delivery) error { return n.Err }

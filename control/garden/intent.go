package garden

// Intent is an order as the journal kept it before the coil was energised. One
// without an outcome tells that the process died somewhere between the two.
type Intent struct {
	// Order is what was permitted, after any shortening.
	Order Order
	// MaxLitres is the most that can have flowed by the order's deadline.
	MaxLitres float64
	// At is when the coil was about to be energised, on the clocks of the run
	// that wrote it.
	At Moment
	// SameClock tells that At.Mono counts on the monotonic clock of the run
	// that reads it, so that the two can be subtracted.
	SameClock bool
	// Unwritten tells that no journal has it, as of a PastDelivery.
	Unwritten bool
}

// PastDelivery is a delivery read back from the journal.
type PastDelivery struct {
	Delivery
	// SameClock tells that the moments' Mono counts on the reader's clock.
	SameClock bool
	// Unwritten tells that no journal has it yet: it was given while that could
	// not be written, and remembered elsewhere.
	Unwritten bool
}

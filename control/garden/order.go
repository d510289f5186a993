package garden

import "time"

// ZoneState is what a zone is doing.
type ZoneState uint8

const (
	// Resting: nothing is flowing and nothing is owed.
	Resting ZoneState = iota
	// Pulsing: a pulse has been ordered or is flowing.
	Pulsing
	// Soaking: water given is finding its way; the next pulse waits.
	Soaking
	// KeptShut: the gardener or a rule forbids water.
	KeptShut
)

func (s ZoneState) String() string {
	switch s {
	case Pulsing:
		return "pulsing"
	case Soaking:
		return "soaking"
	case KeptShut:
		return "kept shut"
	}
	return "resting"
}

// Order asks for one pulse through one line. It is a wish: permit may shorten
// or refuse it, and the guard ends it.
type Order struct {
	ID   OrderID
	Line LineID
	// Zone is the zone whose need caused the order; the line may serve more.
	Zone ZoneID
	// Litres is the volume asked for through the whole line, > 0.
	Litres float64
	// MaxOn is the longest the line may stay open for it, > 0. No order
	// exists without it.
	MaxOn time.Duration
	// Kind decides which budget it is charged to.
	Kind OrderKind
	Why  Reason
	// Dosed engages the line's injector for an order that is no feed of its own:
	// a watering with weak feed in it.
	Dosed bool
}

// Doses reports whether the order engages the line's injector.
func (o Order) Doses() bool { return o.Dosed || o.Kind == Feeding }

// OrderKind is what an order is for.
type OrderKind uint8

const (
	// Irrigate waters from a trustworthy reading.
	Irrigate OrderKind = iota
	// Estimated waters from the water balance, with no trustworthy probe.
	Estimated
	// Survival is the small daily dose that goes on when automatic control is off.
	Survival
	// ByHand was asked for by a person or a hub.
	ByHand
	// Feeding carries nutrients.
	Feeding
	// Commission is a bounded opening for measuring a line.
	Commission
)

var orderKinds = [...]string{"irrigate", "estimated", "survival", "by hand", "feeding", "commission"}

func (k OrderKind) String() string {
	if int(k) < len(orderKinds) {
		return orderKinds[k]
	}
	return "unknown"
}

// Ending is how a delivery ended.
type Ending uint8

const (
	// Unfinished: the process died in the middle; the amount is a worst case.
	Unfinished Ending = iota
	// Complete: the ordered volume or time was reached.
	Complete
	// Stopped: ended early on purpose (drainage, saturation, a person).
	Stopped
	// AtDeadline: the guard's deadline ended it before the volume was reached.
	AtDeadline
	// Faulted: a device error ended it.
	Faulted
)

var endings = [...]string{"unfinished", "complete", "stopped early", "ended by its deadline", "ended by a fault"}

func (e Ending) String() string {
	if int(e) < len(endings) {
		return endings[e]
	}
	return "unknown"
}

// Delivery is what became of an order once its line was closed.
type Delivery struct {
	Order OrderID
	Line  LineID
	Zone  ZoneID
	Kind  OrderKind
	// Litres went through the line: metered where there is a meter, else
	// nominal flow × open time.
	Litres float64
	// DosedL is the part of Litres during which an injector was engaged; all of
	// it for a feed.
	DosedL float64
	// DoseDry tells that the injector was stopped because no water flowed.
	DoseDry bool
	// Uncounted tells that a pump ran for it all the while and its meter counted
	// nothing, so that either may have failed; PumpDry that it was ended for that.
	Uncounted, PumpDry bool
	// TankLow tells that it was ended because the tank's float fell. It is kept in no
	// journal.
	TankLow bool `json:"-"`
	// Metered tells which of the two Litres is.
	Metered bool
	// OwnLPH is the flow that its meter shows to be the line's own, L/h: where other
	// lines ran beside it, what was counted without them or what is more than they
	// can give. It is 0 without a meter, and kept in no journal.
	OwnLPH float64 `json:"-"`
	// Alone tells that no other line ran beside it while a meter counted. It is kept in
	// no journal.
	Alone bool `json:"-"`
	// Open is how long the line was open.
	Open     time.Duration
	OpenedAt Moment
	ClosedAt Moment
	End      Ending
}

// Refusal is an order that did not reach the coil.
type Refusal struct {
	Order OrderID
	Line  LineID
	Zone  ZoneID
	At    Moment
	Cause RefusalCause
	// Until is when asking again may succeed, on the monotonic clock; zero
	// where that is unknown.
	Until time.Duration
}

// RefusalCause is why permit or the guard said no.
type RefusalCause uint8

const (
	// NotRefused is the zero value.
	NotRefused RefusalCause = iota
	// UnknownLine: no such line.
	UnknownLine
	// BadOrder: not finite, not positive, or without a deadline.
	BadOrder
	// LineBusy: the line is already open, or its close is not confirmed.
	LineBusy
	// SupplyBusy: the supply can't carry one more line now.
	SupplyBusy
	// CapReached: the line's litres for the day are used up.
	CapReached
	// TooSoon: the line's minimum rest is not over.
	TooSoon
	// OutsideHours: watering is not allowed at this hour.
	OutsideHours
	// FrostLock: too cold to water.
	FrostLock
	// TankEmpty: not enough in the tank.
	TankEmpty
	// HeldShut: the gardener keeps the zone or line shut.
	HeldShut
	// NotConfirmed: the line's closed state is not confirmed.
	NotConfirmed
	// NoJournal: the intent could not be written and the no-journal budget is used up.
	NoJournal
	// DeviceFault: the driver failed.
	DeviceFault
	// ControlOff: automatic control is off.
	ControlOff
	// Expired: the request arrived after it ran out.
	Expired
	// Repeated: the request was seen before.
	Repeated
	// PumpLocked: the pump rests because it showed no flow.
	PumpLocked
	// TooShort: what may be given takes less time than its valve can open for.
	TooShort
	// LentToFeed: the line waits for a feed, or one runs on it.
	LentToFeed
	// Withdrawn: somebody said stop.
	Withdrawn
	// Replaced: a later wish took its place.
	Replaced
)

var refusalCauses = [...]string{
	NotRefused:   "not refused",
	UnknownLine:  "there is no such line",
	BadOrder:     "the order is not a positive amount with a deadline",
	LineBusy:     "the line is already open",
	SupplyBusy:   "the supply can't carry another line now",
	CapReached:   "the day's limit for this line is reached",
	TooSoon:      "the line has not rested long enough",
	OutsideHours: "outside the hours when watering is allowed",
	FrostLock:    "too cold to water",
	TankEmpty:    "the tank is too low",
	HeldShut:     "kept shut by the gardener",
	NotConfirmed: "the line is not confirmed closed",
	NoJournal:    "the journal can't be written",
	DeviceFault:  "the valve driver failed",
	ControlOff:   "automatic control is off",
	Expired:      "the request came too late",
	Repeated:     "the request was already seen",
	PumpLocked:   "the pump rests after it ran without flow",
	TooShort:     "too little water for the shortest time its valve can open for",
	LentToFeed:   "a feed has the line",
	Withdrawn:    "somebody stopped it",
	Replaced:     "a later wish took its place",
}

func (c RefusalCause) String() string {
	if int(c) < len(refusalCauses) {
		return refusalCauses[c]
	}
	return "unknown"
}

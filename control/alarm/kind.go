package alarm

import "time"

// Kind is what is wrong. The order is that of urgency, worst first: among causes
// of the same moment the first in this list is most likely behind the others.
type Kind uint8

const (
	// NotClosed: a line was commanded closed and does not confirm it.
	NotClosed Kind = iota
	// FlowWithoutOrder: the meter counts while every line is closed.
	FlowWithoutOrder
	// FlowTooHigh: far more flows than the open emitters can give.
	FlowTooHigh
	// JournalUnwritable: intents can't be kept; only a few survival doses go on.
	JournalUnwritable
	// ControlOff: automatic control is off.
	ControlOff
	// OrderWithoutFlow: a line is open and the meter stands still.
	OrderWithoutFlow
	// ZoneNoResponse: no probe of a zone moved after water.
	ZoneNoResponse
	// LineFaulted: a valve's driver failed.
	LineFaulted
	// LosesTooMuch: a zone dries faster than any plant can drink.
	LosesTooMuch
	// TankLow: the tank is at its reserve.
	TankLow
	// SupplyShort: lines could not be served for want of supply or hours.
	SupplyShort
	// CapReached: a line's limit for the day holds back water that is wanted.
	CapReached
	// Frost: lines are locked by cold.
	Frost
	// ProbeDead: a probe does not answer, or its circuit is open or short.
	ProbeDead
	// ProbeDoubtful: a probe's readings can't be believed.
	ProbeDoubtful
	// OnBalance: a zone is watered by reckoning alone.
	OnBalance
	// LosesTooLittle: a zone hardly dries: a drifting probe or a sick plant.
	LosesTooLittle
	// ClockUnconfirmed: nobody confirmed the time; hours and feed days wait.
	ClockUnconfirmed
	// LinkLost: the broker is away.
	LinkLost
	kinds
)

// character is what a Kind is called and how it behaves.
type character struct {
	name, text, next string
	// on and off are how long a condition must hold, or be gone, to count.
	on, off time.Duration
}

var characters = [kinds]character{
	NotClosed: {"not confirmed closed", "the line was told to close and does not confirm it",
		"shut its hand valve now, then look at the driver stage and the wiring", 10 * time.Second, 0},
	FlowWithoutOrder: {"flow with all lines closed", "water flows although every line is closed",
		"shut the hand valve, then look for a leak or a valve jammed open", time.Minute, 5 * time.Minute},
	FlowTooHigh: {"flow far too high", "much more flows than the open emitters can give",
		"look for a hose that came off", 30 * time.Second, 5 * time.Minute},
	JournalUnwritable: {"journal can't be written", "what is given can't be recorded, so only a few survival doses go on",
		"free some space or replace the card", time.Minute, time.Minute},
	ControlOff: {"automatic control is off", "only small survival doses are given",
		"turn it on again with 'gateway automatic on' when you are ready", 10 * time.Minute, 0},
	OrderWithoutFlow: {"no flow", "a line is open and no water flows",
		"look at the tap, the filter and the valve", time.Minute, time.Minute},
	ZoneNoResponse: {"no response to water", "no probe of the pot moved after water that must have reached it",
		"look whether water comes out of its emitters", 0, time.Hour},
	LineFaulted: {"valve driver failed", "the line's driver reported an error",
		"look at its wiring and supply", 0, 10 * time.Minute},
	LosesTooMuch: {"loses more than a plant can drink", "the pot dries faster than its plant can drink",
		"look for a leak, a torn pot or a probe that drifts", 0, 6 * time.Hour},
	TankLow: {"tank low", "the tank is down to its reserve",
		"fill it", 5 * time.Minute, 10 * time.Minute},
	SupplyShort: {"supply too small", "not every line could be served in the hours allowed",
		"allow more hours, or a supply that carries more", time.Hour, 6 * time.Hour},
	CapReached: {"day's limit reached", "the line reached its limit for the day and its pots want more",
		"look for a leak; if the plants have grown, raise the line's daily cap", 0, 6 * time.Hour},
	Frost: {"locked by frost", "it is too cold to water",
		"nothing: the lines open again when it is warmer; protect the fittings", 0, time.Hour},
	ProbeDead: {"probe does not answer", "the probe gives no usable signal",
		"look at its plug and cable; until then the pot is watered without it", 10 * time.Minute, 10 * time.Minute},
	ProbeDoubtful: {"probe in doubt", "the probe's readings can't be believed",
		"check that it sits firmly in the mix, at its depth, with no air gap", 30 * time.Minute, 30 * time.Minute},
	OnBalance: {"watered by reckoning", "the pot has no trustworthy probe and is watered by its water balance",
		"mend its probe; look at the pot in the evening until then", time.Hour, 6 * time.Hour},
	LosesTooLittle: {"hardly dries", "the pot loses much less than it should",
		"look at the plant and whether the mix is soggy; the probe may drift", 0, 6 * time.Hour},
	ClockUnconfirmed: {"clock not confirmed", "nobody confirmed the time, so hours and feed days wait",
		"connect the board to a network for a moment, or confirm the time on the page", 15 * time.Minute, 0},
	LinkLost: {"broker away", "the link to the broker is down",
		"look at the broker and the network; watering at this board goes on", 2 * time.Minute, time.Minute},
}

// Kinds lists every kind, worst first.
func Kinds() []Kind {
	out := make([]Kind, kinds)
	for i := range out {
		out[i] = Kind(i)
	}
	return out
}

// String is the alarm's short name.
func (k Kind) String() string {
	if k >= kinds {
		return "unknown"
	}
	return characters[k].name
}

// Text says what is wrong, Next what to do about it.
func (k Kind) Text() string {
	if k >= kinds {
		return ""
	}
	return characters[k].text
}

// Next is the next step for a person.
func (k Kind) Next() string {
	if k >= kinds {
		return ""
	}
	return characters[k].next
}

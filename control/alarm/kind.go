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
	// JournalUnwritable: intents can't be kept; only a few survival doses go on, and one a day.
	JournalUnwritable
	// JournalBroken: what was given in the last day is not known; survival doses only.
	JournalBroken
	// KeepsCrashing: the gateway crashed so often that it gives survival doses only.
	KeepsCrashing
	// ControlOff: automatic control is off.
	ControlOff
	// PumpDry: the pump ran and no flow was counted.
	PumpDry
	// SupplyGone: no line gets water, whichever is opened.
	SupplyGone
	// OrderWithoutFlow: a line is open and the meter stands still.
	OrderWithoutFlow
	// LessFlow: a line gives much less than it used to.
	LessFlow
	// ZoneNoResponse: no probe of a zone moved after water.
	ZoneNoResponse
	// LessArrives: a zone's probes rise less with its water than they did.
	LessArrives
	// LinkLost: the broker is away.
	LinkLost
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
	// GaugeDoubtful: a flow meter, rain gauge or float can't be believed.
	GaugeDoubtful
	// BusDead: no converter of a bus answers.
	BusDead
	// ConverterDead: none of a converter's probes can be read.
	ConverterDead
	// ProbeDead: a probe does not answer, or its circuit is open or short.
	ProbeDead
	// ProbeDoubtful: a probe's readings can't be believed.
	ProbeDoubtful
	// OnBalance: a zone is watered by reckoning alone.
	OnBalance
	// LosesTooLittle: a zone hardly dries: a drifting probe or a sick plant.
	LosesTooLittle
	// ReadsDry: a zone ran over, since its probes read too dry.
	ReadsDry
	// Crashed: the gateway ended without being told to, and began anew.
	Crashed
	// ClockUnconfirmed: nobody confirmed the time; hours and feed days wait.
	ClockUnconfirmed
	kinds
)

// character is what a Kind is called and how it behaves.
type character struct {
	name, text, next string
	// on and off are how long a condition must hold, or be gone, to count.
	on, off time.Duration
	// band is how far a measured figure must come back behind its limit before
	// its condition has ended, and of what it is a figure; 0 where nothing is
	// measured.
	band    float64
	of      string
	serious bool
}

var characters = [kinds]character{
	NotClosed: {name: "not confirmed closed", text: "the line was told to close and does not confirm it",
		next: "shut its hand valve now, then look at the driver stage and the wiring", on: 10 * time.Second, off: time.Minute, serious: true},
	FlowWithoutOrder: {name: "flow with all lines closed", text: "water flows although every line is closed",
		next: "shut the hand valve, then look for a leak or a valve jammed open", on: time.Minute, off: 5 * time.Minute,
		band: 0.1, of: "litres that ran lately", serious: true},
	FlowTooHigh: {name: "flow far too high", text: "much more flows than the open emitters can give",
		next: "look for a hose that came off", on: 30 * time.Second, off: 5 * time.Minute,
		band: 0.2, of: "times the nominal flow", serious: true},
	JournalUnwritable: {name: "journal can't be written", text: "what is given can't be recorded, so only a few survival doses go on, and one a day",
		next: "where the card is full free some space, where it fails replace it; for any other reason save what 'gateway doctor' says and start again", on: time.Minute, off: 10 * time.Minute},
	JournalBroken: {name: "journal was broken", text: "what was given in the last day is not known for sure, so each line gives no more than a survival dose for a day",
		next: "ask again for what is to stay shut or off, then look at the card: replace it if this comes again", off: 10 * time.Minute},
	KeepsCrashing: {name: "keeps crashing", text: "the gateway crashed again and again, so it gives survival doses only",
		next: "save what 'gateway doctor' says and turn it on again with 'gateway automatic on'; after a day it tries by itself", serious: true},
	ControlOff: {name: "automatic control is off", text: "only small survival doses are given",
		next: "turn it on again with 'gateway automatic on' when you are ready", on: 10 * time.Minute},
	PumpDry: {name: "pump without flow", text: "the pump ran and the meter counted nothing, so it was stopped",
		next: "look at tank, suction hose and strainer before it runs again; a meter that stands still looks the same", off: 10 * time.Minute},
	SupplyGone: {name: "no water from the supply", text: "no line gets any water, whichever is opened",
		next: "look at the tap, the hand valve, the filter and the pump; a meter that stands still looks the same", on: time.Minute, off: time.Minute},
	OrderWithoutFlow: {name: "no flow", text: "a line is open and no water flows",
		next: "look at the tap, the filter and the valve", on: time.Minute, off: time.Minute,
		band: 0.1, of: "times the nominal flow"},
	LessFlow: {name: "less flow than it had", text: "much less water comes in the same time than used to",
		next: "look whether its emitters clog, for a kinked hose, and at the filter", off: 6 * time.Hour},
	ZoneNoResponse: {name: "no response to water", text: "no probe of the pot moved after water that must have reached it",
		next: "look whether water comes out of its emitters; until then the list of work says what to give by hand", off: time.Hour},
	LessArrives: {name: "less water arrives", text: "the pot rises much less with its water than it used to",
		next: "look whether water comes out of all its emitters, and for a kinked hose", off: 6 * time.Hour},
	LinkLost: {name: "broker away", text: "the link to the broker is down",
		next: "look at the broker and the network; watering at this board goes on", on: 2 * time.Minute, off: time.Minute},
	LineFaulted: {name: "valve driver failed", text: "the line's driver reported an error",
		next: "look at its wiring and supply", off: 10 * time.Minute},
	LosesTooMuch: {name: "loses more than a plant can drink", text: "the pot dries faster than its plant can drink",
		next: "look for a leak, a torn pot or a probe that drifts", off: 6 * time.Hour},
	TankLow: {name: "tank low", text: "the tank is down to its reserve",
		next: "fill it", on: 5 * time.Minute, off: 10 * time.Minute, band: 0.02, of: "of the tank"},
	SupplyShort: {name: "supply too small", text: "not every line could be served in the hours allowed",
		next: "allow more hours, or a supply that carries more", off: time.Hour},
	CapReached: {name: "day's limit reached", text: "the line reached its limit for the day and its pots want more",
		next: "look for a leak; if the plants have grown, raise the line's daily cap", off: 6 * time.Hour},
	Frost: {name: "locked by frost", text: "it is too cold to water",
		next: "nothing: the lines open again when it is warmer; protect the fittings", off: time.Hour, band: 0.5, of: "°C"},
	GaugeDoubtful: {name: "gauge in doubt", text: "what it counts can't be believed, so it is not used",
		next: "look at its plug, its cable beside motors, and the resistor at its pin", on: time.Minute, off: 10 * time.Minute},
	BusDead: {name: "bus does not answer", text: "no converter of the bus answers",
		next: "look at the bus's cable and supply; until then pots are watered without probes", on: 10 * time.Minute, off: 10 * time.Minute},
	ConverterDead: {name: "converter does not answer", text: "none of the converter's probes can be read",
		next: "look at its plug, its address and its supply; until then its pots are watered without probes", on: 10 * time.Minute, off: 10 * time.Minute},
	ProbeDead: {name: "probe does not answer", text: "the probe gives no usable signal",
		next: "look at its plug and cable; until then the pot is watered without it", on: 10 * time.Minute, off: 10 * time.Minute},
	ProbeDoubtful: {name: "probe in doubt", text: "the probe's readings can't be believed",
		next: "check that it sits firmly in the mix, at its depth, with no air gap", on: 30 * time.Minute, off: 30 * time.Minute},
	OnBalance: {name: "watered by reckoning", text: "the pot has no trustworthy probe and is watered by its water balance",
		next: "mend its probe; look at the pot in the evening until then", on: time.Hour, off: 6 * time.Hour},
	LosesTooLittle: {name: "hardly dries", text: "the pot loses much less than it should",
		next: "look at the plant and whether the mix is soggy; the probe may drift", on: time.Hour, off: 6 * time.Hour},
	ReadsDry: {name: "reads too dry", text: "the pot's probes seem to read too dry, and it was filled until it ran over; it is filled less now",
		next: "calibrate its probes again in the mix, soaked and drained", off: 6 * time.Hour},
	Crashed: {name: "crashed and began anew", text: "the gateway ended without being told to; it closed every line and went on",
		next: "nothing this once; if it happens again, save what 'gateway doctor' says"},
	ClockUnconfirmed: {name: "clock not confirmed", text: "nobody confirmed the time, so hours and feed days wait",
		next: "connect the board to a network for a moment, or confirm the time on the page", on: 15 * time.Minute, off: time.Minute},
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

// Serious reports whether it can't wait for the morning: water runs, or may,
// where nobody ordered it.
func (k Kind) Serious() bool { return k < kinds && characters[k].serious }

// Delays are how long its condition must hold before it is raised, and be gone
// before it is cleared.
func (k Kind) Delays() (on, off time.Duration) {
	if k >= kinds {
		return 0, 0
	}
	return characters[k].on, characters[k].off
}

// Band is its dead-band, ≥ 0: how far a figure must come back behind its limit
// before the condition has ended, and what it is a figure of. 0 and "" where
// nothing is measured.
func (k Kind) Band() (width float64, of string) {
	if k >= kinds {
		return 0, ""
	}
	return characters[k].band, characters[k].of
}

// Named finds a kind by its name.
func Named(name string) (Kind, bool) {
	for k := range kinds {
		if characters[k].name == name {
			return k, true
		}
	}
	return kinds, false
}

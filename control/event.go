package control

import (
	"fmt"
	"time"

	"fabricpot/control/garden"
)

// EventKind is what the controller noticed.
type EventKind uint8

const (
	// ProbeNoResponse: the probe did not move after A litres that must have
	// reached it, B the most it moved; it is distrusted from now on.
	ProbeNoResponse EventKind = iota
	// ProbeBack: a distrusted probe moved with the water again.
	ProbeBack
	// ZoneNoResponse: no probe of the zone moved after A litres: no water came,
	// or every probe is out.
	ZoneNoResponse
	// LessArrives: a look at the zone saw only A times as much of its line's water
	// arrive as usual, and so did the one before.
	LessArrives
	// LessFlows: the line gives A times what it used to, B L/h, as its meter counts; without a
	// line every one of them.
	LessFlows
	// OnBalance: no trustworthy probe; the zone lives on its water balance.
	OnBalance
	// OnProbe: a trustworthy probe is back.
	OnProbe
	// CapHolds: the line's daily limit of A litres keeps it from watering.
	CapHolds
	// OrderLost: nothing was heard of an order; A litres are taken as given.
	OrderLost
	// LineFaulted: the device failed during an order.
	LineFaulted
	// DrinksMore and DrinksLess: the zone loses A times what the book says, so
	// much or so little that it is hardly the plant: clogged emitters, a torn pot
	// or a drifting probe; a valve that leaks, a sick plant or a drifting probe. Of the
	// second B is 1 where its probes are not believed for that.
	DrinksMore
	DrinksLess
	// ReadsDry: the zone's probes read A too dry, m³/m³: it was full, or drank no
	// less, at a lower reading. It is watered by that from now on.
	ReadsDry
	// ReadsWet: the probe, or where there are several the zone's together, reads more
	// water at rest than a drained pot holds; the zone is watered by its balance meanwhile.
	ReadsWet
	// Dropped: a wish for A litres was not met, for the Cause; where that is the hours of
	// watering, they begin in B hours.
	Dropped
	// WaterCame: a probe rose by A with the B litres by rating that a pump gave and
	// its meter did not count.
	WaterCame
	// PlantsChanged: a plant event of kind A was taken in.
	PlantsChanged
	// Told: somebody asked for what shows in no opening, a garden.AskKind A, for B hours
	// where it is to keep the zone shut, or every zone where it is empty.
	Told
)

// Event is something a person may want to know. Zone, Line and Probe are set
// where they apply.
type Event struct {
	Kind  EventKind
	At    garden.Moment
	Zone  garden.ZoneID
	Line  garden.LineID
	Probe garden.ProbeID
	A, B  float64
	// Cause is why a wish was Dropped, Refused tells that the guard said so already, and
	// Begun that the first of its water had come: it is no wish that waits.
	Cause          garden.RefusalCause
	Refused, Begun bool
}

func (e Event) String() string {
	switch e.Kind {
	case ProbeNoResponse:
		return fmt.Sprintf("probe %s moved only %.1f %% after %.1f L: it is not trusted until it moves with the water again; check that it sits firmly in the mix", e.Probe, 100*e.B, e.A)
	case ProbeBack:
		return fmt.Sprintf("probe %s moves with the water again", e.Probe)
	case ZoneNoResponse:
		return fmt.Sprintf("no probe of %s moved after %.1f L: look whether water comes out of its emitters", e.Zone, e.A)
	case LessArrives:
		return fmt.Sprintf("of the water %s is given only %.0f %% of the usual part arrives: look whether water comes out of all its emitters", e.Zone, 100*e.A)
	case LessFlows:
		if e.Line == "" {
			return fmt.Sprintf("every line gives less than it used to, %.0f %% on average: look at the tap, the filter, the pressure regulator and how full the tank is", 100*e.A)
		}
		return fmt.Sprintf("line %s gives %.0f L/h, %.0f %% of what it used to: look whether its emitters clog, and for a kinked hose", e.Line, e.B, 100*e.A)
	case OnBalance:
		return fmt.Sprintf("%s has no trustworthy probe: it is watered by its water balance", e.Zone)
	case OnProbe:
		return fmt.Sprintf("%s is watered by its probe again", e.Zone)
	case CapHolds:
		return fmt.Sprintf("line %s has reached its limit of %.1f L a day", e.Line, e.A)
	case OrderLost:
		return fmt.Sprintf("nothing was heard of an order on line %s: %.1f L are taken as given", e.Line, e.A)
	case LineFaulted:
		return fmt.Sprintf("line %s failed during an order", e.Line)
	case DrinksMore:
		return fmt.Sprintf("%s loses %.1f times what it should by what was given: clogged emitters, a leak, a drifting probe, or a plant bigger than planned", e.Zone, e.A)
	case DrinksLess:
		text := fmt.Sprintf("%s loses only %.1f times what it should: a valve that leaks into it, a drifting probe, a sick plant, or one smaller than planned", e.Zone, e.A)
		if e.B > 0 {
			text += "; its probes are not believed for some days, and it is watered by its water balance"
		}
		return text
	case ReadsWet:
		who, plugs := "probe "+string(e.Probe)+" reads", "its plug"
		if e.Probe == "" {
			who, plugs = "its probes read", "their plugs"
		}
		return fmt.Sprintf("%s is watered by its water balance, since %s more water at rest than a drained pot holds: look for water in %s, for a valve that leaks into the pot, and whether it stands in water", e.Zone, who, plugs)
	case WaterCame:
		return fmt.Sprintf("probe %s rose by %.1f %% with %.1f L that the meter did not count", e.Probe, 100*e.A, e.B)
	case ReadsDry:
		return fmt.Sprintf("%s: its probes seem to read %.0f %% of water too dry, since what it was given ran through; it is filled by so much less from now on: calibrate them again in the mix, soaked and drained", e.Zone, 100*e.A)
	case PlantsChanged:
		return fmt.Sprintf("%s: %s; its need is reckoned anew", e.Zone, garden.PlantEventKind(e.A))
	case Told:
		switch garden.AskKind(e.A) {
		case garden.AskShut:
			return e.At.Wall.Add(hours(e.B)).Round(time.Minute).Format("to be kept shut until 2 January 15:04")
		case garden.AskRelease:
			return "to be kept shut no longer"
		case garden.AskAutoOff:
			return "automatic control is turned off"
		}
		return "automatic control is turned on"
	case Dropped:
		text := fmt.Sprintf("%.1f L asked for %s were not given: %s", e.A, e.Zone, e.Cause)
		if e.B > 0 {
			text += e.At.Wall.Add(hours(e.B)).Round(time.Minute).Format(", which begin at 15:04")
		}
		return text
	}
	return "unknown event"
}

// note records an event as long as there is room; the room is never exceeded
// in practice and a tick must not allocate.
func (st *State) note(e Event) {
	if len(st.events) < cap(st.events) {
		st.events = append(st.events, e)
	}
}

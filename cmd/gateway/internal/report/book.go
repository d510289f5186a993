package report

import (
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/season"
	"fabricpot/control/garden"
	"fabricpot/control/task"
)

// Source is what a report reads. *journal.Journal is one.
type Source interface {
	ZoneSeries(z garden.ZoneID, from, to time.Time, points int) ([]journal.Point, error)
	Skies(from, to time.Time) ([]journal.SkySample, error)
	DeliveriesSince(t time.Time) ([]garden.PastDelivery, error)
	Decisions(from, to time.Time, most int) ([]journal.Decision, error)
	Feeds(zone garden.ZoneID, since time.Time) ([]journal.Feed, error)
	PlantEvents(since time.Time, zone *time.Location) ([]garden.PlantEvent, error)
	Notes(since time.Time) ([]journal.Note, error)
	Asks(from, to time.Time) ([]journal.AskedFor, error)
	Alarms(since time.Time, most int) ([]journal.AlarmEvent, error)
	TaskEvents(since time.Time, zone *time.Location) ([]task.Event, error)
	ProbesBetween(from, to time.Time) ([]journal.ProbeHealth, error)
	ZoneNames() ([]garden.ZoneID, error)
	Span() (first, last time.Time, ok bool, err error)
	Path() string
}

// Book is a season.
type Book struct {
	Site string
	// From and To bound it, To not included; both are midnights.
	From, To time.Time
	// RainMM is the rain that was measured, absent where nothing measured any.
	// RainDays counts the days with 1 mm or more.
	RainMM   garden.Measured
	RainDays int
	// ColdestC and HottestC are of the air.
	ColdestC, HottestC garden.Measured
	Rain               []Amount
	Zones              []Zone
	// Whole are alarms that are about no zone.
	Whole []AlarmCount
	// Strangers are zones of the journal that the garden file does not have.
	Strangers []garden.ZoneID
	// Simulated tells that Zones carry a simulator's totals.
	Simulated bool
}

// Amount is litres or millimetres at a time.
type Amount struct {
	At    time.Time
	Value float64
}

// Zone is one root zone's season.
type Zone struct {
	ID         garden.ZoneID
	Name       string
	HandTended bool
	// VolumeL is the mix; Capacity, Refill and Limit are water fractions of a
	// grown zone, AirSpace what is left for air at capacity.
	VolumeL, Capacity, Refill, Limit, AirSpace float64

	// Points are the curve, by the quarter hour at the finest.
	Points []journal.Point
	// Line and Hand are the litres that reached it, by line and by can.
	Line, Hand []Amount
	Fed        []Amount

	Water  Water
	Stress Stress
	Feed   Feed
	Flow   Flow
	Probes []journal.ProbeHealth
	// Refused counts refusals by their words, commonest first.
	Refused []Count
	Alarms  []AlarmCount
	Did     []Deed
	// Advice is never empty: where nothing is to be changed it says so.
	Advice []Advice
	// True is a simulator's knowledge, nil for a real season.
	True *season.ZoneResult
}

// BandL is the water between capacity and refill point, L.
func (z *Zone) BandL() float64 { return max(0, (z.Capacity-z.Refill)*z.VolumeL) }

// Water is the balance of a zone, L.
type Water struct {
	// LineL and HandL include what carried feed.
	LineL, HandL float64
	// RainL fell on its surface, absent where rain was not measured.
	RainL garden.Measured
	// ChangeL is what it held more at the end than at the beginning.
	ChangeL garden.Measured
	// GoneL left it: drunk, evaporated or drained.
	GoneL garden.Measured
	// Pulses counts openings of its line, Waterings groups of them.
	Pulses, Waterings int
	// Thirsty is what it took on the thirstiest tenth of its days, L a day.
	ThirstyL float64
}

// Stress is how long a zone stood where it should not, hours.
type Stress struct {
	Known, UnderRefill, LongestUnder, UnderLimit, OverCapacity float64
	// Least is the driest known mean, a water fraction.
	Least garden.Measured
}

// Share is hours as a share of the known ones.
func (s Stress) Share(hours float64) float64 {
	if s.Known <= 0 {
		return 0
	}
	return hours / s.Known
}

// Feed is what a zone was fed.
type Feed struct {
	Planned            bool
	Times              int
	Litres, NG, PG, KG float64
	// Usual and Longest are days between feeds; absent with fewer than two.
	// Interval is the plan's, where the garden file sets one.
	Usual, Longest, Interval garden.Measured
	// Late counts tasks done more than a day after they were due, LateDays the
	// mean of their delay.
	Late     int
	LateDays float64
}

// Flow is what a zone's line shows of its emitters.
type Flow struct {
	// Metered is metered over nominal litres, absent without a meter.
	Metered garden.Measured
	// Arrived is how much of the water given showed as a rise of the zone's
	// water, the middle of Checked waterings.
	Arrived garden.Measured
	Checked int
	// AtDeadline counts pulses that their deadline ended.
	AtDeadline int
}

// Count is how often something happened.
type Count struct {
	What  string
	Times int
}

// AlarmCount is an alarm and how often it was raised.
type AlarmCount struct {
	Name, About, Text string
	Times             int
	First, Last       time.Time
}

// Deed is something a person did or saw.
type Deed struct {
	At    time.Time
	Words string
}

// Advice is something to change, and the figure it rests on.
type Advice struct{ Change, Figure string }

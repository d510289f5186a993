package hub

import (
	"time"

	"fabricpot/control/garden"
)

// Snapshot is what a hub may know of a garden at one moment.
type Snapshot struct {
	// SiteID is the site's id, Name what people call it.
	SiteID, Name string
	// Version is the program's.
	Version string
	// Automatic tells that automatic control is on.
	Automatic bool
	// SupplyLPH is the flow through the supply, L/h. TankL is in the tank.
	SupplyLPH, TankL garden.Measured
	// HasMeter and HasTank tell which of them the garden has at all.
	HasMeter, HasTank bool
	// Zones and Lines are in file order, alarms and tasks in theirs.
	Zones  []Zone
	Lines  []Line
	Alarms []Alarm
	Tasks  []Task
}

// Zone is a root zone.
type Zone struct {
	ID   garden.ZoneID
	Name string
	// Line serves it; empty for a zone that is tended by hand.
	Line  garden.LineID
	State garden.ZoneState
	// Water is the zone's mean water fraction, HeldL litres held.
	Water, HeldL garden.Measured
	// HoursLeft is hours until the refill point at the present demand.
	HoursLeft garden.Measured
	// LastAt is when it was last watered (zero: never), with LastL litres.
	LastAt time.Time
	LastL  garden.Measured
	// TotalL is all the water it was given since the journal began; it only
	// grows.
	TotalL garden.Measured
	// FeedDue is when the next feed is due; zero where none is planned.
	FeedDue time.Time
	// KeptShut tells that somebody forbade water.
	KeptShut bool
	// Problem is the gravest thing wrong with it, in words; empty: nothing.
	Problem string
	// DefaultL is how much a hub's "open" gives, litres, > 0 where it has a
	// line.
	DefaultL float64
}

// Line is an irrigation line.
type Line struct {
	ID   garden.LineID
	Name string
	// Open is true while it is energised; Known that this is certain.
	Open, Known bool
}

// Alarm is a standing alarm.
type Alarm struct {
	ID, Text, Next string
	Since          time.Time
	Acknowledged   bool
}

// Task is something to do by hand.
type Task struct {
	ID, Text string
	Zone     garden.ZoneID
	Due      time.Time
}

// shutMinutes is for how long a hub's "keep shut" holds: its switch has no end
// of its own, and an end there must be.
const shutMinutes = 7 * 24 * 60

package garden

import "time"

// Garden is everything the gateway knows about a place before the first sample.
// It is plain data: the garden file is decoded into it and Check judges it.
type Garden struct {
	Site  Site
	Mixes []Mix
	Crops []OwnCrop
	// Products are the fertilisers on the shelf.
	Products []Product
	// HoseLPM is the gardener's hose as they measured it, L/min.
	HoseLPM Measured
	Pots    []Pot
	Lines   []Line
	Supply  Supply
	Limits  Limits
	// Rain is the rain gauge on the terrace, if any.
	Rain RainBucket
	// Broker is the message broker the garden talks through, if any.
	Broker Broker
	// Calling is how alarms reach a person who is not looking.
	Calling Calling
	// Hardware says which board, or the virtual bench, the garden hangs on.
	Hardware Hardware
	// StagesByHeat asks that warm days bring crops forward and cool ones hold
	// them back, by growing-degree days.
	StagesByHeat bool
	// SampleEvery is the tick: how often probes are read and decisions made.
	SampleEvery time.Duration
	// JournalFile is where the journal is kept; empty means the default place.
	JournalFile string
}

// Site is where the garden is.
type Site struct {
	// Name is shown to people; ID goes into topics.
	Name string
	ID   string
	// LatDeg is north-positive, -90..90. LonDeg is east-positive, -180..180.
	LatDeg, LonDeg float64
	// ElevationM is metres above the sea, -430..9000.
	ElevationM float64
	// Zone is the civil time zone, never nil in a checked garden.
	Zone *time.Location
	// Coastal picks FAO-56's coefficient for radiation from temperature range.
	Coastal bool
}

// Supply is what the lines draw from.
type Supply struct {
	// FlowLPH is the most it can carry at once, L/h.
	FlowLPH float64
	// Hours are the windows when watering is allowed; none means always.
	Hours []DayWindow
	// TankL is the usable volume of a tank, absent for mains.
	TankL Measured
	// TankReserveL is kept back.
	TankReserveL float64
	// PressureKPa is the working pressure at the outlets.
	PressureKPa Measured
	// ECmS is the water's own electrical conductivity, mS/cm.
	ECmS Measured
	// MeterPulsesPerL is set where a flow meter counts pulses.
	MeterPulsesPerL Measured
	// Meter is where that meter's contact is wired; on the bench it need not be.
	Meter Contact
	// Float is a switch in the tank whose contact is closed while there is water.
	Float Contact
	// Pump feeds the lines, where they do not run by themselves.
	Pump Pump
}

// DayWindow is a span of civil time within a day; From > To crosses midnight.
type DayWindow struct {
	// From and To are offsets from midnight, 0..24 h.
	From, To time.Duration
}

// Contains reports whether the time of day of t lies in the window. A window
// whose ends are equal covers the whole day.
func (w DayWindow) Contains(t time.Time) bool {
	// Clock fields, not elapsed time since midnight: on a day with a daylight
	// saving change the gardener still means the clock on the wall.
	at := time.Duration(t.Hour())*time.Hour + time.Duration(t.Minute())*time.Minute + time.Duration(t.Second())*time.Second
	switch {
	case w.From == w.To:
		return true
	case w.From < w.To:
		return at >= w.From && at < w.To
	}
	return at >= w.From || at < w.To
}

// Limits bound what may ever be delivered, whoever asks.
type Limits struct {
	// MaxOn is the longest any line may stay open at a time.
	MaxOn time.Duration
	// MinRest is the shortest time between two openings of a line.
	MinRest time.Duration
	// DailyFactor × a line's peak daily need is its cap per rolling day, ≥ 2.
	DailyFactor float64
	// FrostC is the air or mix temperature under which lines lock, °C.
	FrostC float64
	// SurvivalL is the survival dose a zone gets per day when automatic
	// control is off, as a share of its zone volume (litres per litre).
	SurvivalShare float64
	// NoJournalDoses is how many survival doses a line may give at once while the
	// journal can't be written; then it is one a day. None is none at all.
	NoJournalDoses int
}

// DefaultLimits are the limits of a garden file that says nothing.
func DefaultLimits() Limits {
	return Limits{
		MaxOn:          90 * time.Minute,
		MinRest:        5 * time.Minute,
		DailyFactor:    2.5,
		FrostC:         2,
		SurvivalShare:  0.04,
		NoJournalDoses: 3,
	}
}

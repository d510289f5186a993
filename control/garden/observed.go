package garden

// Observed is everything one tick lets the controller see. It is reused from
// tick to tick; the controller keeps nothing that points into it.
type Observed struct {
	// Readings holds the latest reading of every probe in ProbeList's order,
	// bad ones included.
	Readings []Reading
	// Today is the day's weather as far as it is known or forecast.
	Today DayWeather
	// Ahead are the following days, nearest first; may be empty.
	Ahead []DayWeather
	// Now is the weather at this moment.
	Now WeatherNow
	// Delivered are pulses that ended since the last tick.
	Delivered []Delivery
	// Refused are orders that were refused since the last tick.
	Refused []Refusal
	// TankL is what the tank holds, where that is measured.
	TankL Measured
	// Asks are requests from people and hubs, already checked for identity and
	// expiry, that arrived since the last tick.
	Asks []Ask
}

// AskKind is what a person or hub wants.
type AskKind uint8

const (
	// AskWater: give the zone Litres.
	AskWater AskKind = iota
	// AskShut: keep the zone shut until Until.
	AskShut
	// AskRelease: end keeping it shut.
	AskRelease
	// AskAutoOff and AskAutoOn switch automatic control.
	AskAutoOff
	AskAutoOn
	// AskFeed: feed the zone now, if it is due or nearly.
	AskFeed
	// GardenerWatered: a person gave the zone Litres by hand.
	GardenerWatered
	// AskPlant: a person did something to a zone's plants; Plant says what.
	AskPlant
)

// Ask is one such wish.
type Ask struct {
	Kind AskKind
	// Zone is empty for all zones.
	Zone   ZoneID
	Litres float64
	// Until is on the monotonic clock.
	Until Moment
	// Plant is what happened, for AskPlant.
	Plant PlantEvent
	// Who asked, for the journal.
	Who string
}

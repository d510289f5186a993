package runner

import (
	"time"

	"fabricpot/control"
	"fabricpot/control/alarm"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"
	"fabricpot/sensors"
	"fabricpot/valves"
)

// Sampler reads every probe once. It never fails as a whole: what went wrong
// with a probe is in its reading.
type Sampler interface {
	Sample(now garden.Moment, out []garden.Reading) []garden.Reading
}

// Converters is a Sampler that knows how the converters behind its probes have
// been answering. *sensors.Sampler is one.
type Converters interface {
	Chips(out []sensors.ChipStats) []sensors.ChipStats
}

// Sky fills in the weather of a tick: Today, Ahead and Now.
type Sky interface {
	Observe(now garden.Moment, obs *garden.Observed)
}

// Recorder keeps what happened. A failing recorder never stops the loop; it
// becomes an alarm.
type Recorder interface {
	valves.Ledger
	// Samples keeps one tick's readings and the zones' mean water. The slices
	// are the caller's own and may change after the call.
	Samples(now garden.Moment, readings []garden.Reading, zones []control.ZoneView) error
	// Decided keeps an order or refusal with its reason in words.
	Decided(now garden.Moment, o garden.Order, cause garden.RefusalCause, what string) error
	// Asked keeps what a person or hub asked for.
	Asked(now garden.Moment, a garden.Ask) error
	// Alarmed keeps one step of an alarm's life.
	Alarmed(c alarm.Change) error
}

// Teller is told what happens as it happens. It must return quickly.
type Teller interface {
	Opened(now garden.Moment, o garden.Order)
	Ended(d garden.Delivery)
	Refused(now garden.Moment, o garden.Order, r garden.Refusal)
	Noticed(e control.Event)
	Alarmed(c alarm.Change)
	Failed(now garden.Moment, what string, err error)
}

// History is what an earlier run left behind.
type History interface {
	Unfinished() ([]garden.Intent, error)
	Recent(now garden.Moment) ([]garden.PastDelivery, error)
	LastOrderID() (garden.OrderID, error)
	// Standing is what people asked for that still holds.
	Standing(now time.Time) ([]garden.Ask, error)
}

// Parts are what a Loop is assembled from. All but Journal and Tell must be
// given.
type Parts struct {
	Garden  *garden.Garden
	Plan    *control.Plan
	State   *control.State
	Sampler Sampler
	Guard   *valves.Guard
	Sky     Sky
	// Journal is where things are kept; nil keeps nothing.
	Journal Recorder
	// History is read once by Begin; nil means that nothing came before.
	History History
	// SinceBoot is how long the board had been up when the loop was made.
	SinceBoot time.Duration
	// ReadTimes measures probes for the metrics; nil measures nothing.
	ReadTimes *ReadTimes
	// JournalPath is what people are told of it.
	JournalPath string
	// Gauges measure the water itself; nil where nothing does.
	Gauges Gauges
	// Far is what hangs on a broker; nil where nothing does.
	Far Far
	// Feeding is what is fed and how; nil feeds nothing. FeedJournal is where
	// its steps are kept; nil keeps none.
	Feeding     *feeding.Plan
	FeedJournal FeedJournal
	// Tell is told; nil tells nobody.
	Tell Teller
}

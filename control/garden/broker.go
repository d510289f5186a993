package garden

import "time"

// Broker is how the garden meets a message broker. The zero value is a garden
// with none, which works fully by itself.
type Broker struct {
	// URL is mqtt://host:port, mqtts://host:port, or EmbeddedBroker.
	URL string
	// Prefix is the first levels of the garden's topics; empty means
	// the default. The site's id follows it.
	Prefix string
	// ClientID must be unique at the broker; empty means made from the site.
	ClientID string
	// PasswordFile holds user and password on two lines, mode 0600.
	PasswordFile string
	// CAFile, CertFile, KeyFile, ServerName are for mqtts.
	CAFile, CertFile, KeyFile, ServerName string
	// Listen and Accounts are for the embedded broker.
	Listen   string
	Accounts []BrokerAccount
	// Discovery and Homie are the root topics of the two ways to describe the
	// garden to a hub; empty means not to.
	Discovery, Homie string
	// Sky is the weather that arrives over the broker.
	Sky []SkyInput
}

// UsualRoot as Discovery or Homie asks for the root topic that is usual there.
const UsualRoot = "usual"

// EmbeddedBroker as a URL asks for the broker inside the program.
const EmbeddedBroker = "embedded"

// BrokerAccount is an account of the embedded broker.
type BrokerAccount struct {
	// PasswordFile holds user and password on two lines, mode 0600.
	PasswordFile string
	// Publish and Subscribe are the topic filters it may use.
	Publish, Subscribe []string
}

// RemoteQuantity is what a remote probe publishes.
type RemoteQuantity string

const (
	// RemoteCounts are raw converter counts; VoltsPerCount makes volts of them.
	RemoteCounts RemoteQuantity = "counts"
	// RemoteVolts go through the probe's calibration.
	RemoteVolts RemoteQuantity = "volts"
	// RemoteWater is water fraction, 0..1.
	RemoteWater RemoteQuantity = "water"
	// RemotePercent is water fraction in percent, 0..100.
	RemotePercent RemoteQuantity = "percent"
)

// RemoteInput is a probe whose readings arrive over the broker.
type RemoteInput struct {
	// Topic the readings arrive on; empty means the garden's own topic for
	// the probe, in the garden's own format.
	Topic    string
	Quantity RemoteQuantity
	// VoltsPerCount is for RemoteCounts, > 0.
	VoltsPerCount float64
	// Value, Seq and Time are RFC 6901 pointers into a JSON payload: the
	// reading, a number that grows by one per message, Unix seconds. All
	// empty means the payload is a plain number.
	Value, Seq, Time string
	// MaxAge is after how long without news the probe is stale; 0 means 10 min.
	MaxAge time.Duration
}

// PlainValve is a device that knows ON and OFF and no duration. It may be used
// only because it closes by itself after OwnLimit, whatever happens to us.
type PlainValve struct {
	// Set and State are its topics, On and Off its words in both.
	Set, State, On, Off string
	// StatePath is the RFC 6901 pointer to the word in a JSON state; empty
	// means the payload is the word.
	StatePath string
	// OwnLimit is the device's own time limit, > 0.
	OwnLimit time.Duration
}

// SkyQuantity is a kind of weather that arrives over the broker.
type SkyQuantity string

// Kinds of weather.
const (
	SkyTemperature SkyQuantity = "temperature" // C, F
	SkyHumidity    SkyQuantity = "humidity"    // %
	SkyWind        SkyQuantity = "wind"        // m/s, km/h, mph, kn
	SkyRadiation   SkyQuantity = "radiation"   // W/m2
	// SkyRain is rain since the previous message, SkyRainTotal a counter that
	// only grows until it starts again. mm, in.
	SkyRain      SkyQuantity = "rain"
	SkyRainTotal SkyQuantity = "rain-total"
	// SkyDays is a daily forecast in the garden's own format; no unit.
	SkyDays SkyQuantity = "days"
)

// SkyInput is one kind of weather on one topic.
type SkyInput struct {
	// Topic it arrives on; for SkyDays empty means the garden's own.
	Topic string
	// Path is the RFC 6901 pointer to the number; empty means a plain number.
	Path     string
	Quantity SkyQuantity
	// Unit is the unit it is published in.
	Unit string
}

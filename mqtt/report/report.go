// Package report turns what the gateway knows into the messages of its own
// topics: the other half of CONTRACT.md, with its JSON Schemas in ../schema.
//
// State is retained, with quality of service 1, one message per zone and line.
// Events are not retained. Numbers are SI with the unit in the key; what is not
// known is null, never zero; times are RFC 3339 with an offset.
package report

import (
	"math"
	"strconv"
	"time"

	"fabricpot/control/garden"
	"fabricpot/mqtt"
	"fabricpot/mqtt/payload"
	"fabricpot/mqtt/topic"
)

// Status is the gateway itself.
type Status struct {
	State     string   `json:"state"` // online, offline
	Name      string   `json:"name"`
	Version   string   `json:"version"`
	Automatic bool     `json:"automatic"`
	SupplyLPH *float64 `json:"supply_l_h"`
	TankL     *float64 `json:"tank_l"`
	OpenLines int      `json:"open_lines"`
	Alarms    int      `json:"alarms"`
}

// Zone is one root zone.
type Zone struct {
	Name         string   `json:"name"`
	State        string   `json:"state"` // resting, pulsing, soaking, kept shut
	WaterPercent *float64 `json:"water_percent"`
	HeldL        *float64 `json:"held_l"`
	HoursLeft    *float64 `json:"hours_until_refill"`
	LastAt       *string  `json:"last_watering_at"`
	LastL        *float64 `json:"last_watering_l"`
	TotalL       *float64 `json:"total_l"`
	FeedDue      *string  `json:"feed_due_at"`
	KeptShut     bool     `json:"kept_shut"`
	Problem      *string  `json:"problem"`
}

// Line is one irrigation line.
type Line struct {
	Name  string `json:"name"`
	State string `json:"state"` // open, closed, unknown
}

// Delivery is what became of one pulse.
type Delivery struct {
	Order    string  `json:"order"`
	Line     string  `json:"line"`
	Zone     string  `json:"zone"`
	Kind     string  `json:"kind"`
	Litres   float64 `json:"litres"`
	Metered  bool    `json:"metered"`
	Seconds  float64 `json:"seconds"`
	OpenedAt *string `json:"opened_at"`
	Ended    string  `json:"ended"`
}

// Task is something to do by hand.
type Task struct {
	ID   string  `json:"id"`
	Zone string  `json:"zone,omitempty"`
	Text string  `json:"text"`
	Due  *string `json:"due_at"`
}

// Alarm is one standing alarm.
type Alarm struct {
	Text         string  `json:"text"`
	Next         string  `json:"next"` // what to do about it
	Since        *string `json:"since"`
	Acknowledged bool    `json:"acknowledged"`
}

// Event is what happened to an alarm.
type Event struct {
	Event string `json:"event"` // raised, acknowledged, cleared
	Alarm string `json:"alarm"`
	Text  string `json:"text"`
}

// Number is a value rounded to digits decimals, nil where it is not known.
// Rounding keeps a value that only trembles from being published for ever.
func Number(m garden.Measured, digits int) *float64 {
	if !m.Known || !garden.Finite(m.Value) {
		return nil
	}
	p := math.Pow10(digits)
	v := math.Round(m.Value*p) / p
	if v == 0 {
		v = 0 // never -0
	}
	return &v
}

// Time is RFC 3339 with an offset, nil for the zero time.
func Time(t time.Time) *string {
	if t.IsZero() {
		return nil
	}
	s := t.Format(time.RFC3339)
	return &s
}

// Text is nil for "".
func Text(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

// DeliveryOf is the message form of a delivery.
func DeliveryOf(d garden.Delivery) Delivery {
	return Delivery{
		// Text: a reader that keeps numbers as floats would lose digits.
		Order: strconv.FormatUint(uint64(d.Order), 10), Line: string(d.Line), Zone: string(d.Zone), Kind: d.Kind.String(),
		Litres: *Number(garden.Known(finite(d.Litres)), 3), Metered: d.Metered, Seconds: *Number(garden.Known(d.Open.Seconds()), 1),
		OpenedAt: Time(d.OpenedAt.Wall), Ended: d.End.String(),
	}
}

func finite(v float64) float64 {
	if !garden.Finite(v) {
		return 0
	}
	return v
}

// State is the retained message of v on a topic of kind k.
func State(tree topic.Tree, k topic.Kind, name string, v any) (mqtt.Message, error) {
	b, err := payload.Encode(v)
	return mqtt.Message{Topic: tree.Of(k, name), Payload: b, QoS: 1, Retain: true}, err
}

// Happening is the unretained message of v on a topic of kind k.
func Happening(tree topic.Tree, k topic.Kind, v any) (mqtt.Message, error) {
	m, err := State(tree, k, "", v)
	m.Retain = false
	return m, err
}

// Gone is the retained nothing that clears a topic.
func Gone(name string) mqtt.Message { return mqtt.Message{Topic: name, QoS: 1, Retain: true} }

// Offline is the last will and the farewell of a gateway.
func Offline(tree topic.Tree, name, version string) (mqtt.Message, error) {
	return State(tree, topic.Status, "", Status{State: "offline", Name: name, Version: version})
}

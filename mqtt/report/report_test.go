package report

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
	"fabricpot/mqtt/internal/contract"
	"fabricpot/mqtt/topic"
)

// TestMessagesFitTheirSchemas sends every kind of message full and empty.
func TestMessagesFitTheirSchemas(t *testing.T) {
	tr, err := topic.NewTree("", "roof")
	require.NoError(t, err)
	now := time.Date(2026, 7, 1, 6, 30, 0, 0, time.FixedZone("EEST", 3*3600))
	one := garden.Known(1.25)
	for _, c := range []struct {
		schema string
		kind   topic.Kind
		name   string
		v      any
	}{
		{"status", topic.Status, "", Status{State: "online", Name: "Roof", SupplyLPH: Number(one, 1), TankL: Number(one, 1)}},
		{"status", topic.Status, "", Status{State: "online"}},
		{"zone", topic.Zone, "chilli", Zone{State: garden.Pulsing.String(), WaterPercent: Number(one, 1), HeldL: Number(one, 1), HoursLeft: Number(one, 0), LastAt: Time(now), LastL: Number(one, 1), TotalL: Number(one, 1), FeedDue: Time(now), Problem: Text("x")}},
		{"line", topic.Line, "south", Line{State: "unknown"}},
		{"tasks", topic.Tasks, "", map[string]any{"tasks": []Task{{ID: "t-1", Zone: "chilli", Text: "x", Due: Time(now)}, {ID: "t-2"}}}},
		{"alarm", topic.Alarm, "a", Alarm{Text: "x", Next: "y", Since: Time(now)}},
		{"event", topic.Event, "", Event{Event: "raised", Alarm: "a", Text: "x"}},
	} {
		m, err := State(tr, c.kind, c.name, c.v)
		require.NoError(t, err)
		assert.NotEmpty(t, m.Topic)
		contract.Fits(t, c.schema, string(m.Payload))
	}
	for s := garden.Resting; s <= garden.KeptShut; s++ {
		b, _ := json.Marshal(Zone{State: s.String()})
		contract.Fits(t, "zone", string(b))
	}
	for k := garden.Irrigate; k <= garden.Commission; k++ {
		for e := garden.Unfinished; e <= garden.Faulted; e++ {
			m, err := Happening(tr, topic.Delivery, DeliveryOf(garden.Delivery{Order: math.MaxUint64, Line: "l", Zone: "z", Kind: k, End: e, Litres: 1.23456, Open: 90 * time.Second, OpenedAt: garden.Moment{Wall: now}}))
			require.NoError(t, err)
			assert.False(t, m.Retain)
			contract.Fits(t, "delivery", string(m.Payload))
			assert.Contains(t, string(m.Payload), `"18446744073709551615"`)
			assert.Contains(t, string(m.Payload), `"litres":1.235`)
		}
	}
	m, err := Offline(tr, "Roof", "1")
	require.NoError(t, err)
	assert.True(t, m.Retain)
	contract.Fits(t, "status", string(m.Payload))
	assert.True(t, Gone("a").Retain)
	assert.Empty(t, Gone("a").Payload)
}

func TestUnknownIsNullAndNeverZero(t *testing.T) {
	assert.Nil(t, Number(garden.Measured{}, 1))
	assert.Nil(t, Number(garden.Measured{Value: math.NaN(), Known: true}, 1))
	assert.Nil(t, Number(garden.Measured{Value: math.Inf(1), Known: true}, 1))
	assert.Nil(t, Time(time.Time{}))
	b, _ := json.Marshal(Number(garden.Known(-0.01), 1))
	assert.Equal(t, "0", string(b), "no minus zero")
	m, err := Happening(topic.Tree{}, topic.Delivery, DeliveryOf(garden.Delivery{Litres: math.NaN()}))
	require.NoError(t, err)
	assert.True(t, json.Valid(m.Payload))
}

package valve

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
	"fabricpot/mqtt"
	"fabricpot/mqtt/topic"
)

func TestPlainDevice(t *testing.T) {
	p := &garden.PlainValve{Set: "relay/cmd", State: "relay/stat", On: "ON", Off: "OFF", OwnLimit: time.Hour}
	d := newDesk(t, p)
	assert.Equal(t, "OFF", string(d.sent[0].Payload))
	say := func(s string) {
		d.now += time.Millisecond
		d.say(s)
	}
	_ = d.v.Take(mqtt.Message{Topic: "relay/stat", Payload: []byte("OFF"), Retain: true, At: d.moment()})
	_, known := d.v.Closed()
	assert.False(t, known, "a retained word is old")
	say("OFF")
	d.step(time.Millisecond)
	closed, known := d.v.Closed()
	require.True(t, closed && known)
	d.open(t, 60)
	assert.Equal(t, "ON", string(d.sent[len(d.sent)-1].Payload))
	say("ON")
	_, known = d.v.Closed()
	assert.True(t, known)
	d.step(61 * time.Second)
	assert.Equal(t, "OFF", string(d.sent[len(d.sent)-1].Payload))
	say("ON")
	assert.Equal(t, OpenUnasked, d.v.Trouble())
	say("OFF")
	_, known = d.v.Closed()
	assert.False(t, known, "after it was heard open, only the answer to a fresh command counts")
	d.step(2 * time.Second)
	say("OFF")
	closed, known = d.v.Closed()
	assert.True(t, closed && known)
	say("on?")
	assert.Equal(t, Unreadable, d.v.Trouble())

	tr, _ := topic.NewTree("", "roof")
	for name, bad := range map[string]garden.PlainValve{
		"no limit of its own": {Set: "a", State: "b", On: "ON", Off: "OFF"},
		"one word":            {Set: "a", State: "b", On: "ON", Off: "ON", OwnLimit: 1},
		"no state":            {Set: "a", On: "ON", Off: "OFF", OwnLimit: 1},
		"wildcard":            {Set: "a/#", State: "b", On: "ON", Off: "OFF", OwnLimit: 1},
		"one topic":           {Set: "a", State: "a", On: "ON", Off: "OFF", OwnLimit: 1},
	} {
		_, err := New(tr, "l", garden.Valve{Kind: garden.RemoteValve, Plain: &bad}, d, "r", d.moment)
		assert.Error(t, err, name)
	}
	_, err := New(tr, "l", garden.Valve{Kind: garden.PinValve}, d, "r", d.moment)
	assert.Error(t, err)
	_, err = New(tr, "l", garden.Valve{Kind: garden.RemoteValve, Node: "a/b"}, d, "r", d.moment)
	assert.Error(t, err)
}

func TestPlainJSONState(t *testing.T) {
	p := &garden.PlainValve{Set: "c", State: "s", On: "ON", Off: "OFF", StatePath: "/state/0", OwnLimit: time.Hour}
	for doc, want := range map[string]string{`{"state":["ON"]}`: "open", `{"state":["OFF"]}`: "closed", `{"state":["on"]}`: "", `{"state":[true]}`: "", `{"state":"ON"}`: "", `ON`: "", `{"state":["ON"]`: ""} {
		h, err := decodePlain([]byte(doc), p)
		if want == "" {
			assert.Error(t, err, doc)
			continue
		}
		require.NoError(t, err, doc)
		assert.Equal(t, want == "open", h.open, doc)
	}
}

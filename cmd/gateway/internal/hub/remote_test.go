package hub

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
	"fabricpot/mqtt/command"
	"fabricpot/valves"
)

// TestAGardenOverItsBroker opens the whole of it on the embedded broker, with a
// node's account, and plays node and person from outside.
func TestAGardenOverItsBroker(t *testing.T) {
	dir := t.TempDir()
	login := filepath.Join(dir, "node")
	require.NoError(t, os.WriteFile(login, []byte("node\nsecret\n"), 0o600))
	g := &garden.Garden{
		Site: garden.Site{ID: "roof", Name: "Roof", Zone: time.UTC},
		Pots: []garden.Pot{{ID: "chilli", VolumeL: 50, Zones: []garden.Zone{{ID: "chilli", Share: 1, Line: "south", Probes: []garden.Probe{
			{ID: "c1", Zone: "chilli", Remote: &garden.RemoteInput{Quantity: garden.RemotePercent}},
			{ID: "broken", Zone: "chilli", Remote: &garden.RemoteInput{Quantity: "?"}},
		}}}}},
		Lines: []garden.Line{
			{ID: "south", Valve: garden.Valve{Kind: garden.RemoteValve, Node: "tap"}},
			{ID: "west", Valve: garden.Valve{Kind: garden.RemoteValve, Plain: &garden.PlainValve{Set: "a", State: "b", On: "ON", Off: "OFF"}}},
		},
		Broker: garden.Broker{URL: garden.EmbeddedBroker, Listen: "127.0.0.1:0", Discovery: "homeassistant", Homie: "homie",
			Accounts: []garden.BrokerAccount{{PasswordFile: login, Publish: []string{"fabricpot/#"}, Subscribe: []string{"#"}}},
			Sky:      []garden.SkyInput{{Topic: "fabricpot/station", Quantity: garden.SkyTemperature, Unit: "C"}}},
	}
	start := time.Now()
	clock := func() garden.Moment { return garden.Moment{Mono: time.Since(start), Wall: time.Now(), Synced: true} }
	r, left, err := Open(g, RemoteOptions{First: terrace(), Memory: File(filepath.Join(dir, "published")), Clock: clock})
	require.NoError(t, err)
	assert.Len(t, left, 2, "the probe without a quantity and the valve without a limit: %v", left)
	assert.Equal(t, valves.Unassigned{}, r.Valves["west"])
	r.Start(context.Background())
	require.Eventually(t, func() bool { return r.Status().Connected }, 20*time.Second, time.Millisecond)

	opts := paho.NewClientOptions().AddBroker("tcp" + r.URL()[len("mqtt"):]).SetClientID("node").SetProtocolVersion(4).SetUsername("node").SetPassword("secret")
	c := paho.NewClient(opts)
	require.True(t, c.Connect().WaitTimeout(20*time.Second))
	defer c.Disconnect(50)
	heard := make(chan paho.Message, 256)
	require.True(t, c.Subscribe("fabricpot/#", 1, func(_ paho.Client, m paho.Message) { heard <- m }).WaitTimeout(20*time.Second))
	var status paho.Message
	until := func(name string) paho.Message {
		t.Helper()
		for {
			select {
			case m := <-heard:
				if m.Topic() == "fabricpot/roof/status" {
					status = m
				}
				if m.Topic() == name {
					return m
				}
			case <-time.After(20 * time.Second):
				require.FailNow(t, "not heard", name)
			}
		}
	}
	c.Publish("fabricpot/roof/probe/c1", 0, false, "41")
	c.Publish("fabricpot/station", 0, false, "28")
	require.Eventually(t, func() bool {
		return r.Probes.Reading("c1", clock(), nil).Water > 0.409 && r.Sky.Now(clock()).TempC.Value == 28
	}, 20*time.Second, time.Millisecond)

	require.NoError(t, r.Valves["south"].Close())
	var order struct{ ID, Do string }
	require.NoError(t, json.Unmarshal(until("fabricpot/roof/valve/tap/set").Payload(), &order))
	assert.Equal(t, "close", order.Do)
	c.Publish("fabricpot/roof/valve/tap/state", 1, true, `{"state":"closed","ack":"`+order.ID+`"}`)
	require.Eventually(t, func() bool { closed, known := r.Valves["south"].Closed(); return closed && known }, 20*time.Second, time.Millisecond)
	assert.Empty(t, r.Troubles())

	c.Publish("fabricpot/roof/do", 1, false, fmt.Sprintf(`{"id":"a","do":"water","zone":"chilli","litres":2,"expires":%q}`, time.Now().Add(time.Minute).Format(time.RFC3339)))
	assert.Contains(t, string(until("fabricpot/roof/reply/a").Payload()), `"accepted":true`)
	w := <-r.Wishes()
	assert.Equal(t, command.Water, w.Do)
	r.Refuse(w, "the tank is empty")
	assert.Contains(t, string(until("fabricpot/roof/reply/a").Payload()), "tank is empty")

	require.NoError(t, r.Publish(terrace()))
	until("fabricpot/roof/zone/chilli")
	r.Delivered(garden.Delivery{Order: 3, Line: "south", Zone: "chilli", Litres: 1})
	until("fabricpot/roof/delivery")
	r.Happened("raised", "x", "text")
	until("fabricpot/roof/event")
	// Before the end: the embedded broker goes with its gateway, and may be gone
	// before its farewell reaches anybody.
	if status == nil {
		status = until("fabricpot/roof/status")
	}
	assert.Contains(t, string(status.Payload()), `"state":`)
	r.Close(time.Second)
}

func TestNoBrokerIsNoRemote(t *testing.T) {
	r, left, err := Open(&garden.Garden{}, RemoteOptions{})
	assert.Nil(t, r)
	assert.Empty(t, left)
	assert.NoError(t, err)
	for name, b := range map[string]garden.Broker{
		"address": {URL: "http://x"},
		"listen":  {URL: garden.EmbeddedBroker, Listen: "0.0.0.0:0"},
		"prefix":  {URL: "mqtt://127.0.0.1", Prefix: "#"},
		"account": {URL: garden.EmbeddedBroker, Listen: "127.0.0.1:0", Accounts: []garden.BrokerAccount{{PasswordFile: "/nonexistent"}}},
	} {
		_, _, err := Open(&garden.Garden{Site: garden.Site{ID: "x"}, Broker: b}, RemoteOptions{First: terrace(), Clock: func() garden.Moment { return garden.Moment{} }})
		assert.Error(t, err, name)
	}
	r, left, err = Open(&garden.Garden{Site: garden.Site{ID: "x"}, Broker: garden.Broker{URL: "mqtt://192.0.2.1", PasswordFile: secret(t)}}, RemoteOptions{First: terrace(), Clock: func() garden.Moment { return garden.Moment{} }})
	require.NoError(t, err)
	assert.NotNil(t, r)
	require.Len(t, left, 1)
	assert.ErrorContains(t, left[0], "unprotected")
}

func secret(t *testing.T) string {
	name := filepath.Join(t.TempDir(), "login")
	require.NoError(t, os.WriteFile(name, []byte("u\np\n"), 0o600))
	return name
}

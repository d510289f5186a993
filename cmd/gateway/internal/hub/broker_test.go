package hub

import (
	"context"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
	"fabricpot/mqtt"
	"fabricpot/mqtt/broker"
	"fabricpot/mqtt/command"
)

// TestOverABroker connects both ways of description to the embedded broker and
// plays the hub.
func TestOverABroker(t *testing.T) {
	b, err := broker.Start(broker.Options{Listen: "127.0.0.1:0"})
	require.NoError(t, err)
	defer b.Close()
	s := terrace()
	h, err := NewHomie(tree(t), "", s, 7)
	require.NoError(t, err)

	hub := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + b.Addr().String()).SetClientID("hub").SetProtocolVersion(4))
	require.True(t, hub.Connect().WaitTimeout(20*time.Second))
	defer hub.Disconnect(50)
	heard := make(chan paho.Message, 256)
	require.True(t, hub.SubscribeMultiple(map[string]byte{"homie/#": 1, "homeassistant/#": 1, "fabricpot/#": 1}, func(_ paho.Client, m paho.Message) { heard <- m }).WaitTimeout(20*time.Second))
	var words []mqtt.Message
	until := func(topic, payload string) {
		t.Helper()
		for {
			select {
			case m := <-heard:
				words = append(words, mqtt.Message{Topic: m.Topic(), Payload: m.Payload(), Retain: true})
				if m.Topic() == topic && (payload == "" || string(m.Payload()) == payload) {
					return
				}
			case <-time.After(20 * time.Second):
				require.FailNow(t, "not heard", "%s %s", topic, payload)
			}
		}
	}

	will, bye := h.Will(), h.Farewell()
	device, err := mqtt.New(mqtt.Options{URL: b.URL(), ClientID: "homie", Will: &will, Farewell: &bye, Greeting: h.Greeting})
	require.NoError(t, err)
	in, err := device.Subscribe(h.Filter(), 0, 8)
	require.NoError(t, err)
	link, err := mqtt.New(mqtt.Options{URL: b.URL(), ClientID: "gateway"})
	require.NoError(t, err)
	p, err := NewPublisher(link, Options{Tree: tree(t), Discovery: "homeassistant", Homie: h, HomieLink: device, Memory: File(filepath.Join(t.TempDir(), "p"))})
	require.NoError(t, err)
	births, err := link.Subscribe(p.Filters()[0], 1, 4)
	require.NoError(t, err)
	device.Start(context.Background())
	link.Start(context.Background())
	defer link.Close(time.Second)

	until("homie/5/fabricpot-roof/$state", "ready")
	order := []string{}
	for _, m := range words {
		if strings.HasPrefix(m.Topic, "homie/") {
			order = append(order, m.Topic)
		}
	}
	// The first word may come twice: as news, and as what the broker kept while
	// it was still answering the subscription.
	order = slices.Compact(order)
	assert.Equal(t, "homie/5/fabricpot-roof/$state", order[0])
	assert.Equal(t, "homie/5/fabricpot-roof/$description", order[1])

	require.NoError(t, p.Publish(s))
	until("homeassistant/device/fabricpot-roof/config", "")
	doc := words[len(words)-1]
	assert.Empty(t, Validate(doc.Topic, true, doc.Payload))
	until("fabricpot/roof/status", "")

	hub.Publish("homie/5/fabricpot-roof/zone-chilli/valve/set", 0, false, "true")
	select {
	case m := <-in.C():
		m.At = garden.Moment{Mono: time.Hour}
		w, why := h.Take(m)
		assert.Empty(t, why)
		assert.Equal(t, command.Water, w.Do)
	case <-time.After(20 * time.Second):
		require.FailNow(t, "no command")
	}
	s.Lines[0].Open = false
	require.NoError(t, p.Publish(s))
	until("homie/5/fabricpot-roof/zone-chilli/valve", "false")

	hub.Publish("homeassistant/status", 1, false, "online")
	select {
	case m := <-births.C():
		p.Take(m)
		require.NoError(t, p.Tick(m.At.Mono+time.Second))
	case <-time.After(20 * time.Second):
		require.FailNow(t, "no birth")
	}
	until("homeassistant/device/fabricpot-roof/config", "")
	device.Close(time.Second)
	until("homie/5/fabricpot-roof/$state", "disconnected")
}

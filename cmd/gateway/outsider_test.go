package main

import (
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"
)

// outsider is a client that shares no code with the gateway but the library,
// and remembers all it hears, in the order it was said.
type outsider struct {
	t *testing.T
	paho.Client
	mu    sync.Mutex
	heard []paho.Message
}

func outside(t *testing.T, addr, id string) *outsider {
	t.Helper()
	return outsiderBy(t, addr, paho.NewClientOptions().SetClientID(id))
}

// outsiderBy is one that connects as o says, and hears all that it may.
func outsiderBy(t *testing.T, addr string, opts *paho.ClientOptions) *outsider {
	t.Helper()
	o := &outsider{t: t}
	o.Client = paho.NewClient(opts.AddBroker("tcp://" + addr).SetProtocolVersion(4))
	tok := o.Connect()
	require.True(t, tok.WaitTimeout(10*time.Second))
	require.NoError(t, tok.Error())
	t.Cleanup(func() { o.Disconnect(50) })
	tok = o.Subscribe("#", 1, func(_ paho.Client, m paho.Message) {
		o.mu.Lock()
		defer o.mu.Unlock()
		o.heard = append(o.heard, m)
	})
	require.True(t, tok.WaitTimeout(10*time.Second))
	return o
}

// on is everything heard on a topic so far.
func (o *outsider) on(topic string) (out []paho.Message) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, m := range o.heard {
		if m.Topic() == topic {
			out = append(out, m)
		}
	}
	return out
}

// until waits for a message on topic that has all of the words.
func (o *outsider) until(patience time.Duration, topic string, words ...string) paho.Message {
	o.t.Helper()
	var got paho.Message
	require.Eventually(o.t, func() bool {
		for _, m := range o.on(topic) {
			missing := false
			for _, w := range words {
				missing = missing || !strings.Contains(string(m.Payload()), w)
			}
			if !missing {
				got = m
				return true
			}
		}
		return false
	}, patience, 20*time.Millisecond, "%s with %q", topic, words)
	return got
}

func (o *outsider) say(topic string, retain bool, payload string) {
	o.t.Helper()
	tok := o.Publish(topic, 1, retain, payload)
	require.True(o.t, tok.WaitTimeout(5*time.Second))
	require.NoError(o.t, tok.Error())
}

// command is a command that is still good.
func command(id, rest string) string {
	return fmt.Sprintf(`{"id":%q,%s,"expires":%q}`, id, rest, time.Now().Add(time.Minute).Format(time.RFC3339))
}

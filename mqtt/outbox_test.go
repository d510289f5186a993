package mqtt

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestAgainKeepsTheOrder: on a new connection topics are said in the order they
// were first posted, whatever of them waited before and was left unconfirmed.
func TestAgainKeepsTheOrder(t *testing.T) {
	o := newOutbox(8)
	post := func(topic, payload string) {
		require.NoError(t, o.post(Message{Topic: topic, Payload: []byte(payload), QoS: 1, Retain: true}))
	}
	said := func() (out []string) {
		for {
			s, m, version := o.next()
			if s == nil {
				return out
			}
			out = append(out, m.Topic+"="+string(m.Payload))
			o.done(s, version, true)
		}
	}
	post("a", "1")
	post("b", "1")
	post("c", "1")
	a, _, va := o.next()
	b, _, vb := o.next()
	o.done(a, va, true)
	o.done(b, vb, false) // the connection was lost before it was confirmed
	post("d", "1")
	post("a", "2")
	o.again()
	assert.Equal(t, []string{"a=2", "b=1", "c=1", "d=1"}, said(), "each once, the latest value")
	assert.Empty(t, said())
	o.again()
	assert.Equal(t, []string{"a=2", "b=1", "c=1", "d=1"}, said())
}

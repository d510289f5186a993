package mqtt_test

import (
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"fabricpot/mqtt"
	"fabricpot/mqtt/internal/rig"
)

// TestMessagesKeepTheirOrder: what a node says last holds, so a burst is read in
// the order it was said. A broker keeps that order (MQTT 3.1.1, section 4.6); the
// link must not lose it between the network and the inbox.
func TestMessagesKeepTheirOrder(t *testing.T) {
	rig.Each(t, func(t *testing.T, s rig.Server) {
		const burst = 200
		var in *mqtt.Inbox
		l := rig.Link(t, rig.Quick(s.Addr(), "order"), func(l *mqtt.Link) { in, _ = l.Subscribe("order/+", 1, burst) })
		rig.Up(t, l)
		out := rig.Outsider(t, s.Addr(), "order-out")
		for i := range burst { // not waiting, so that many arrive at once
			out.Publish("order/x", 1, false, strconv.Itoa(i))
		}
		for i := range burst {
			require.Equal(t, strconv.Itoa(i), string(rig.Next(t, in.C(), "message of the burst").Payload))
		}
	})
}

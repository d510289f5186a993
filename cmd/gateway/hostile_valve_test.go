package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// valvePastThePermit is somebody at a broker that asks nobody who he is, as it is on
// one machine, who tells a remote valve himself to open: no permit, no charge and no
// intent would stand behind that water.
func valvePastThePermit(t *testing.T) {
	const set, line = "fabricpot/far/valve/tap/set", "fabricpot/far/line/one"
	r := start(t, farFile(t, "embedded"), "--broker-listen", "127.0.0.1:0")
	addr := r.broker()
	ears := outside(t, addr, "ears")
	node := newTap(t, addr)
	ears.until(20*time.Second, set, `"close"`) // what the gateway says there is heard
	ears.until(20*time.Second, line, `"closed"`)
	for i := range 12 {
		// Who wants an acknowledgement is thrown out, and comes again.
		mad := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + addr).SetClientID(fmt.Sprint("mad-", i)).SetProtocolVersion(4).SetAutoReconnect(false))
		tok := mad.Connect()
		require.True(t, tok.WaitTimeout(10*time.Second))
		require.NoError(t, tok.Error())
		mad.Publish(set, byte(i%3), i%2 == 1, fmt.Sprintf(`{"id":"mad-%d","do":"open","order":"9%03d","seconds":60}`, i, i)).WaitTimeout(500 * time.Millisecond)
		mad.Disconnect(20)
	}
	dying := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://"+addr).SetClientID("dying").SetProtocolVersion(4).SetAutoReconnect(false).
		SetWill(set, `{"id":"mad-will","do":"open","order":"9999","seconds":60}`, 0, false)).Connect()
	require.True(t, dying.WaitTimeout(10*time.Second))
	assert.Error(t, dying.Error(), "a will that opens a valve")
	ears.say("elsewhere", false, "after all that")
	ears.until(10*time.Second, "elsewhere", "after all that")
	time.Sleep(300 * time.Millisecond) // the node hears on a connection of its own
	for _, m := range ears.on(set) {
		assert.False(t, strings.Contains(string(m.Payload()), "mad-"), "a node was told: %s", m.Payload())
	}
	open, opens := node.flowing()
	assert.False(t, open)
	assert.Zero(t, opens, "the node's coil")
	assert.NotContains(t, r.out.String(), "unasked")
	assert.Equal(t, exitDone, r.end(), r.errs)
}

// TestAWideGrant: a garden file that grants a hub all of the gateway's topics keeps no
// gateway from its watering. It is warned of, and opens no valve.
func TestAWideGrant(t *testing.T) {
	t.Parallel() // no node confirms its valve, so the end takes its time
	const set = "fabricpot/far/valve/tap/set"
	login := filepath.Join(t.TempDir(), "hub.login")
	require.NoError(t, os.WriteFile(login, []byte("hub\n"+personWord+"\n"), 0o600))
	file := farFile(t, "embedded\n  accounts: [{ login-file: "+login+", may-publish: [fabricpot/far/#], may-subscribe: [\"#\"] }]")
	r := start(t, file, "--broker-listen", "127.0.0.1:0")
	addr := r.broker()
	assert.Contains(t, r.errs.String(), "may-publish.1: takes in what opens a valve past all limits")
	hub := outsideAs(t, addr, "hub", "hub", personWord)
	hub.Publish(set, 0, false, `{"id":"hub-1","do":"open","order":"9001","seconds":60}`).WaitTimeout(time.Second)
	hub.say("fabricpot/far/elsewhere", false, "after that")
	hub.until(10*time.Second, "fabricpot/far/elsewhere", "after that")
	for _, m := range hub.on(set) {
		assert.NotContains(t, string(m.Payload()), "hub-1")
	}
}

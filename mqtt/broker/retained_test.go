package broker_test

import (
	"fmt"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"

	"fabricpot/mqtt/broker"
	"fabricpot/mqtt/internal/rig"
)

// TestRetainedWhileOthersSubscribe: topics come and go while clients subscribe
// to all of them and others vanish with a retained will. The race detector
// fails it where the broker reads what another goroutine writes; without it the
// test shows that nobody waits for ever.
func TestRetainedWhileOthersSubscribe(t *testing.T) {
	b := start(t, broker.Options{})
	addr := b.Addr().String()
	var wg sync.WaitGroup
	end := time.Now().Add(1500 * time.Millisecond)
	for p := range 2 {
		c := rig.Outsider(t, addr, fmt.Sprint("publisher-", p))
		wg.Go(func() {
			for n := 0; time.Now().Before(end); n++ {
				payload := "x"
				if n%2 == 1 {
					payload = ""
				}
				tok := c.Publish(fmt.Sprintf("a/%d/%d", p, n/2%5), byte(n%2), true, payload)
				if !assert.True(t, tok.WaitTimeout(30*time.Second)) {
					return
				}
			}
		})
	}
	subscribed := make([]int, 2)
	for s := range subscribed {
		c := rig.Outsider(t, addr, fmt.Sprint("subscriber-", s))
		wg.Go(func() {
			for time.Now().Before(end) {
				tok := c.Subscribe("a/#", 0, func(paho.Client, paho.Message) {})
				if !assert.True(t, tok.WaitTimeout(30*time.Second)) {
					return
				}
				subscribed[s]++
			}
		})
	}
	wills := rig.Outsider(t, addr, "heir")
	heard := rig.Heard(t, wills, "wills/+")
	go func() {
		for n := range 5 {
			o := paho.NewClientOptions().AddBroker("tcp://"+addr).SetClientID(fmt.Sprint("mortal-", n)).SetProtocolVersion(4).
				SetWill(fmt.Sprint("wills/", n), "gone", 1, true).SetAutoReconnect(false)
			c := paho.NewClient(o)
			if c.Connect().WaitTimeout(30 * time.Second) {
				// A second connection of the same name throws the first one out,
				// and its will is published.
				again := paho.NewClient(o.SetAutoReconnect(false))
				again.Connect().WaitTimeout(30 * time.Second)
				again.Disconnect(10)
			}
		}
	}()
	rig.Next(t, heard, "a will")
	wg.Wait()
	for _, n := range subscribed {
		assert.Greater(t, n, 5)
	}
}

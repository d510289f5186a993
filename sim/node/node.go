// Package node is the reference firmware of a remote valve, without the radio:
// what a node must do with the commands of the message contract. It is short so
// that it can be ported to a microcontroller; it asks no clock and no network.
//
// The caller subscribes to <base>/set with a clean session and quality of
// service 0, hands every payload that is not retained to Command, calls Tick at
// least once a second, LinkLost when the broker is gone, and LinkUp when it is
// back. Durations are on any monotonic clock.
package node

import (
	"encoding/json"
	"time"
)

// Node is one valve. Coil energises it, Publish sends a retained message with
// quality of service 1 to <base>/state. Start with Coil(false).
type Node struct {
	Coil       func(open bool)
	Publish    func(payload []byte)
	Unix       func() int64 // nil where the node has no clock
	open       bool
	ack, order string
	until, say time.Duration
	seq        int
}

type command struct {
	ID, Do, Order string
	Seconds       int64
	NotAfter      int64 `json:"not_after"`
}

// Command obeys one message of <base>/set.
func (n *Node) Command(now time.Duration, payload []byte) {
	var c command
	if json.Unmarshal(payload, &c) != nil || c.ID == "" {
		return
	}
	switch {
	case c.Do == "close":
		n.set(false)
	case c.Do != "open" || c.Order == "" || c.Order == n.order || c.Seconds < 1 || c.Seconds > 24*3600:
		return // an order opens once; without a time it opens never
	case n.Unix != nil && c.NotAfter > 0 && n.Unix() > c.NotAfter:
		return
	default:
		n.order, n.until = c.Order, now+time.Duration(c.Seconds)*time.Second
		n.set(true)
	}
	n.ack = c.ID
	n.state(now)
}

// Tick closes what is over and says once a minute, while open every ten
// seconds, how things are.
func (n *Node) Tick(now time.Duration) {
	if n.open && now >= n.until {
		n.set(false)
		n.state(now)
	}
	if now >= n.say {
		n.state(now)
	}
}

// LinkLost closes: nobody could tell the node to.
func (n *Node) LinkLost() { n.set(false) }

// LinkUp says how things are.
func (n *Node) LinkUp(now time.Duration) { n.state(now) }

func (n *Node) set(open bool) {
	n.open = open
	n.Coil(open)
}

func (n *Node) state(now time.Duration) {
	state, left, every := "closed", 0, time.Minute
	if n.open {
		state, left, every = "open", int((n.until-now)/time.Second), 10*time.Second
	}
	n.seq++
	b, _ := json.Marshal(map[string]any{"state": state, "ack": n.ack, "order": n.order, "left_s": left, "seq": n.seq})
	n.say = now + every
	n.Publish(b)
}

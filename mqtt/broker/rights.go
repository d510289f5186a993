package broker

import (
	"bytes"
	"crypto/sha256"
	"crypto/subtle"
	"sync/atomic"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"

	"fabricpot/mqtt/topic"
)

// rights lets accounts in and judges every topic they use.
type rights struct {
	mochi.HookBase
	srv         *mochi.Server
	accounts    map[string]account
	open        bool // nobody needs to log in
	own         string
	ownOnly     []string // what only that account may publish to
	maxRetained int
	maxKeep     uint16
	// system is how many retained topics are the library's own.
	system atomic.Int64
}

type account struct {
	sum                [32]byte
	publish, subscribe []string
}

func newRights(srv *mochi.Server, o Options, own Account) *rights {
	r := &rights{srv: srv, accounts: make(map[string]account), open: len(o.Accounts) == 0, own: own.User, ownOnly: o.OwnOnly, maxRetained: o.MaxRetained, maxKeep: uint16(o.MaxKeepAlive / time.Second)}
	for _, a := range append([]Account{own}, o.Accounts...) {
		r.accounts[a.User] = account{sum: sha256.Sum256([]byte(a.Password)), publish: a.Publish, subscribe: a.Subscribe}
	}
	return r
}

func (r *rights) ID() string { return "rights" }

func (r *rights) Provides(b byte) bool {
	return bytes.IndexByte([]byte{mochi.OnConnect, mochi.OnConnectAuthenticate, mochi.OnACLCheck, mochi.OnPublish}, b) >= 0
}

// OnConnect bounds the keep-alive: zero means a half-open connection stays for
// ever. A client may be silent for one and a half times its own (MQTT 3.1.1,
// section 3.1.2.10); the library reckons that in whole seconds, and with one of
// a second would end the connection just when the next ping is due.
func (r *rights) OnConnect(cl *mochi.Client, _ packets.Packet) error {
	switch keep := cl.State.Keepalive; {
	case keep == 0 || keep > r.maxKeep:
		cl.State.Keepalive, cl.State.ServerKeepalive = r.maxKeep, true
	case keep == 1:
		cl.State.Keepalive = 2
	}
	return nil
}

func (r *rights) OnConnectAuthenticate(cl *mochi.Client, pk packets.Packet) bool {
	user := string(pk.Connect.Username)
	a, known := r.accounts[user]
	sum := sha256.Sum256(pk.Connect.Password)
	switch {
	case known && subtle.ConstantTimeCompare(sum[:], a.sum[:]) == 1:
	case known || !r.open:
		return false
	}
	// A client id belongs to whoever uses it: connecting with another's would
	// throw that one out and inherit its session.
	if other, ok := r.srv.Clients.Get(cl.ID); ok && string(other.Properties.Username) != user {
		return false
	}
	// The will is published by the broker, in the client's name.
	return !pk.Connect.WillFlag || r.may(user, pk.Connect.WillTopic, true)
}

func (r *rights) OnACLCheck(cl *mochi.Client, name string, write bool) bool {
	return r.may(string(cl.Properties.Username), name, write)
}

func (r *rights) may(user, name string, write bool) bool {
	if write && !topic.ValidName(name) || !write && !topic.ValidFilter(name) {
		return false
	}
	if write && user != r.own {
		for _, f := range r.ownOnly {
			if topic.Match(f, name) {
				return false
			}
		}
	}
	a, known := r.accounts[user]
	if !known {
		return r.open
	}
	granted := a.subscribe
	if write {
		granted = a.publish
	}
	for _, g := range granted {
		if topic.Covers(g, name) {
			return true
		}
	}
	return false
}

// OnPublish bounds the number of retained topics, and judges the topic once
// more where the library may have rewritten it.
func (r *rights) OnPublish(cl *mochi.Client, pk packets.Packet) (packets.Packet, error) {
	if !cl.Net.Inline && !r.may(string(cl.Properties.Username), pk.TopicName, true) {
		return pk, packets.ErrRejectPacket
	}
	if pk.FixedHeader.Retain && len(pk.Payload) > 0 && r.srv.Topics.Retained.Len() >= r.maxRetained+int(r.system.Load()) {
		if _, there := r.srv.Topics.Retained.Get(pk.TopicName); !there {
			// Passed on but not kept. Rejecting it would leave a QoS 1
			// publisher waiting for an acknowledgement for ever.
			pk.FixedHeader.Retain = false
		}
	}
	return pk, nil
}

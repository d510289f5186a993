package broker

import (
	"bytes"
	"sync"
	"sync/atomic"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// retained keeps two of the library's goroutines from each other: the one that
// retains a message writes a string that the one that serves a new subscription
// with a wildcard reads without a lock. It holds a lock from the last hook
// before the one or the other to the first one after it. Nothing is written to
// a network in between.
type retained struct {
	mochi.HookBase
	mu     sync.Mutex
	holder atomic.Pointer[mochi.Client]
}

func (r *retained) ID() string { return "retained" }

func (r *retained) Provides(b byte) bool {
	return bytes.IndexByte([]byte{mochi.OnPublish, mochi.OnRetainMessage, mochi.OnWill, mochi.OnPacketSent, mochi.OnPacketProcessed}, b) >= 0
}

func (r *retained) take(cl *mochi.Client) {
	if r.holder.Load() == cl {
		return
	}
	r.mu.Lock()
	r.holder.Store(cl)
}

func (r *retained) leave(cl *mochi.Client) {
	if r.holder.CompareAndSwap(cl, nil) {
		r.mu.Unlock()
	}
}

// OnPublish is the last before a message is retained. It must come after every
// hook that can reject.
func (r *retained) OnPublish(cl *mochi.Client, pk packets.Packet) (packets.Packet, error) {
	if pk.FixedHeader.Retain {
		r.take(cl)
	}
	return pk, nil
}

// OnWill is the last before a will is retained.
func (r *retained) OnWill(cl *mochi.Client, w mochi.Will) (mochi.Will, error) {
	if w.Retain && w.WillDelayInterval == 0 {
		r.take(cl)
	}
	return w, nil
}

// OnRetainMessage is the first after it.
func (r *retained) OnRetainMessage(cl *mochi.Client, _ packets.Packet, _ int64) { r.leave(cl) }

// OnPacketSent: once a SUBACK is written, what is retained is looked through.
func (r *retained) OnPacketSent(cl *mochi.Client, pk packets.Packet, _ []byte) {
	if pk.FixedHeader.Type == packets.Suback {
		r.take(cl)
	}
}

// OnPacketProcessed is the first after that.
func (r *retained) OnPacketProcessed(cl *mochi.Client, _ packets.Packet, _ error) { r.leave(cl) }

package mqtt

import (
	"sync/atomic"

	"fabricpot/mqtt/topic"
)

// Inbox holds what arrived for one subscription until somebody reads it.
type Inbox struct {
	filter  string
	qos     byte
	c       chan Message
	dropped atomic.Uint64
}

// C is where the messages are. It is never closed.
func (in *Inbox) C() <-chan Message { return in.c }

// Dropped counts the messages that gave way because nobody read in time.
func (in *Inbox) Dropped() uint64 { return in.dropped.Load() }

// put enqueues without ever waiting: it runs on the network library's goroutine
// that reads for all inboxes. Where the inbox is full the oldest message gives way,
// since a newer reading says more and an older command is nearer its expiry.
func (in *Inbox) put(m Message) {
	for range 4 {
		select {
		case in.c <- m:
			return
		default:
		}
		select {
		case <-in.c:
			in.dropped.Add(1)
		default:
		}
	}
	// Others filled every place that was freed: then ours gives way.
	in.dropped.Add(1)
}

// wants reports whether the inbox subscribed to the topic.
func (in *Inbox) wants(name string) bool { return topic.Match(in.filter, name) }

package mqtt

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"sync"
)

// ErrFull is returned for a topic more than the outbox may remember.
var ErrFull = errors.New("mqtt: outbox is full")

// outbox remembers the latest value of each topic. It is the only queue towards
// the broker that outlives a connection, and its size is bounded by the number
// of topics, however long the broker is away.
type outbox struct {
	mu     sync.Mutex
	max    int
	births uint64
	latest map[string]*slot
	// dirty are the slots to send, in the order they became so.
	dirty []*slot
	// wake has room for one token: there may be something to send.
	wake chan struct{}
}

type slot struct {
	m Message
	// queued: it is in dirty. version tells a later value from the one that
	// is being sent.
	queued  bool
	version uint64
	// born orders slots by when their topics were first posted.
	born uint64
	// gone: an empty retained payload, which clears the topic at the broker;
	// the slot is forgotten once that is confirmed.
	gone bool
}

func newOutbox(maxTopics int) *outbox {
	return &outbox{max: maxTopics, latest: make(map[string]*slot), wake: make(chan struct{}, 1)}
}

// post replaces the topic's value.
func (o *outbox) post(m Message) error {
	o.mu.Lock()
	defer o.mu.Unlock()
	s := o.latest[m.Topic]
	if s == nil {
		if len(o.latest) >= o.max {
			return fmt.Errorf("%w: %d topics are remembered, no room for %s", ErrFull, o.max, m.Topic)
		}
		o.births++
		s = &slot{born: o.births}
		o.latest[m.Topic] = s
	}
	s.m = m
	s.version++
	s.gone = m.Retain && len(m.Payload) == 0
	o.enqueue(s)
	return nil
}

func (o *outbox) enqueue(s *slot) {
	if !s.queued {
		s.queued = true
		o.dirty = append(o.dirty, s)
	}
	select {
	case o.wake <- struct{}{}:
	default:
	}
}

// next takes the oldest unsent value; nil if there is none.
func (o *outbox) next() (*slot, Message, uint64) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if len(o.dirty) == 0 {
		// Let go of what a burst grew.
		o.dirty = nil
		return nil, Message{}, 0
	}
	s := o.dirty[0]
	o.dirty[0] = nil
	o.dirty = o.dirty[1:]
	s.queued = false
	return s, s.m, s.version
}

// done records that the version taken with next reached the broker, or not.
func (o *outbox) done(s *slot, version uint64, ok bool) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if s.version != version {
		return // a later value is on its way
	}
	switch {
	case !ok:
		o.enqueue(s)
	case s.gone || !s.m.Retain:
		delete(o.latest, s.m.Topic)
	}
}

// again queues every value, in the order their topics were first posted: the
// broker at the other end of a new connection may have forgotten them.
func (o *outbox) again() {
	o.mu.Lock()
	defer o.mu.Unlock()
	all := make([]*slot, 0, len(o.latest))
	for _, s := range o.latest {
		all = append(all, s)
	}
	slices.SortFunc(all, func(a, b *slot) int { return cmp.Compare(a.born, b.born) })
	// What waited already takes its place among the others: a value that the
	// connection before left unconfirmed would else come before older topics.
	o.dirty = nil
	for _, s := range all {
		s.queued = false
		o.enqueue(s)
	}
}

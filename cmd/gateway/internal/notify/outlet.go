package notify

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"
)

// Way is one way to a person. Send returns when the message was taken or ctx is
// over; an error that wraps what can't be mended by trying again says so.
type Way interface {
	Name() string
	Send(ctx context.Context, m *Message) error
}

const (
	// sendPatience bounds one try.
	sendPatience = 30 * time.Second
	// mostQueued bounds what waits for one way. An older message says less than
	// a newer one: what stands is told again anyway.
	mostQueued = 16
)

// WayStatus is how a way has been doing. Times are the garden's.
type WayStatus struct {
	Name string `json:"name"`
	// Sent were taken, Failed given up after all tries, Dropped never tried for
	// want of room. Waiting are on their way.
	Sent    uint64 `json:"sent"`
	Failed  uint64 `json:"failed"`
	Dropped uint64 `json:"dropped"`
	Waiting int    `json:"waiting"`
	// LastSent and LastFailed are the last tries of either kind, absent (null)
	// before the first of this run.
	LastSent   *time.Time `json:"last_sent"`
	LastFailed *time.Time `json:"last_failed"`
	LastError  string     `json:"last_error,omitempty"`
}

// Works reports whether the last try went well, or none was made yet.
func (s *WayStatus) Works() bool {
	return s.LastFailed == nil || s.LastSent != nil && !s.LastSent.Before(*s.LastFailed)
}

// outlet is a way with its queue. One goroutine sends.
type outlet struct {
	way   Way
	waits []time.Duration // between tries
	// patience bounds one try.
	patience time.Duration
	now      func() time.Time
	log      func(string)
	wake     chan struct{}

	mu     sync.Mutex
	queue  []*Message
	status WayStatus
}

func newOutlet(w Way, waits []time.Duration, now func() time.Time, log func(string)) *outlet {
	return &outlet{way: w, waits: waits, patience: sendPatience, now: now, log: log, wake: make(chan struct{}, 1), status: WayStatus{Name: w.Name()}}
}

// put queues a message, a serious one before others. It never waits.
func (o *outlet) put(m *Message) {
	o.mu.Lock()
	at := len(o.queue)
	if m.Serious {
		for at = 0; at < len(o.queue) && o.queue[at].Serious; at++ {
		}
	}
	o.queue = slices.Insert(o.queue, at, m)
	if len(o.queue) > mostQueued {
		// The oldest lesser one goes, or where all are serious the oldest.
		i := slices.IndexFunc(o.queue, func(m *Message) bool { return !m.Serious })
		o.queue = slices.Delete(o.queue, max(i, 0), max(i, 0)+1)
		o.status.Dropped++
	}
	o.mu.Unlock()
	select {
	case o.wake <- struct{}{}:
	default:
	}
}

func (o *outlet) take() *Message {
	o.mu.Lock()
	defer o.mu.Unlock()
	if len(o.queue) == 0 {
		o.status.Waiting = 0
		return nil
	}
	m := o.queue[0]
	o.queue = slices.Delete(o.queue, 0, 1)
	o.status.Waiting = 1
	return m
}

// run sends until ctx is over.
func (o *outlet) run(ctx context.Context) {
	for {
		m := o.take()
		if m == nil {
			select {
			case <-ctx.Done():
				return
			case <-o.wake:
			}
			continue
		}
		if !o.deliver(ctx, m) {
			o.mu.Lock()
			o.queue = slices.Insert(o.queue, 0, m) // unsent, see Post.Close
			o.mu.Unlock()
			return
		}
	}
}

// deliver tries until the message is taken or given up. It reports false where
// ctx was over before that.
func (o *outlet) deliver(ctx context.Context, m *Message) bool {
	for try := 0; ; try++ {
		err := o.once(ctx, m)
		if ctx.Err() != nil && err != nil {
			return false
		}
		if err == nil {
			return true
		}
		if errors.Is(err, errForGood) || try >= len(o.waits) {
			o.mu.Lock()
			o.status.Failed++
			o.mu.Unlock()
			o.log(fmt.Sprintf("%s: given up: %v", o.way.Name(), err))
			return true
		}
		if try == 0 {
			o.log(fmt.Sprintf("%s: %v; trying again", o.way.Name(), err))
		}
		t := time.NewTimer(o.waits[try])
		select {
		case <-ctx.Done():
			t.Stop()
			return false
		case <-t.C:
		}
	}
}

// once tries once and keeps what came of it. A panic in somebody else's code is a
// failure of that try.
func (o *outlet) once(ctx context.Context, m *Message) (err error) {
	ctx, cancel := context.WithTimeout(ctx, o.patience)
	defer cancel()
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("panic: %v", r)
		}
		at := o.now()
		o.mu.Lock()
		defer o.mu.Unlock()
		if err == nil {
			o.status.Sent++
			o.status.LastSent, o.status.LastError = &at, ""
			return
		}
		o.status.LastFailed, o.status.LastError = &at, err.Error()
	}()
	return o.way.Send(ctx, m)
}

func (o *outlet) snapshot() WayStatus {
	o.mu.Lock()
	defer o.mu.Unlock()
	s := o.status
	s.Waiting += len(o.queue)
	return s
}

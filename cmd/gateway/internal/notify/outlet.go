package notify

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode"
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

	mu    sync.Mutex
	queue []*Message
	// under is the message that is being sent; it stays where a stop ends that.
	under  *Message
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
	o.under = nil
	if len(o.queue) > 0 {
		o.under = o.queue[0]
		o.queue = slices.Delete(o.queue, 0, 1)
	}
	return o.under
}

// unsent is what is on its way.
func (o *outlet) unsent() []*Message {
	o.mu.Lock()
	defer o.mu.Unlock()
	out := slices.Clone(o.queue)
	if o.under != nil {
		out = append(out, o.under)
	}
	return out
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
		if err != nil {
			err = short{err}
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

// mostWords bounds what is kept, shown and logged of an error: much of it may be
// a server's own words.
const mostWords = 300

// short is an error in one line of no more than so many characters.
type short struct{ error }

func (s short) Unwrap() error { return s.error }

func (s short) Error() string {
	words := strings.Map(func(c rune) rune {
		if !unicode.IsPrint(c) {
			return ' ' // a server's answer must not drive a terminal
		}
		return c
	}, s.error.Error())
	if r := []rune(words); len(r) > mostWords {
		words = string(r[:mostWords-1]) + "…"
	}
	return words
}

func (o *outlet) snapshot() WayStatus {
	o.mu.Lock()
	defer o.mu.Unlock()
	s := o.status
	if s.Waiting = len(o.queue); o.under != nil {
		s.Waiting++
	}
	return s
}

// goOn counts on from what the way of the same name had come to.
func (o *outlet) goOn(from *Left) {
	if from == nil {
		return
	}
	for _, was := range from.ways {
		if was.Name == o.status.Name {
			o.status = was
			o.status.Waiting = 0
		}
	}
}

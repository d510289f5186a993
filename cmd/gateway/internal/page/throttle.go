package page

import (
	"sync"
	"time"
)

const (
	// freeTries wrong passwords cost nothing: people mistype.
	freeTries = 4
	firstWait = 10 * time.Second
	longWait  = 15 * time.Minute
	// maxClients bounds the memory; the one that failed longest ago gives way.
	maxClients = 500
	// forgetAfter is when a client counts as new.
	forgetAfter = 24 * time.Hour
)

// throttle slows each client's wrong attempts: after a few free ones the wait
// doubles from ten seconds to a quarter of an hour.
type throttle struct {
	mu      sync.Mutex
	now     func() time.Time
	clients map[string]attempts
}

type attempts struct {
	failed      int
	last, until time.Time
}

func newThrottle(now func() time.Time) *throttle {
	return &throttle{now: now, clients: map[string]attempts{}}
}

// wait is how long the client must not try, 0 where it may.
func (t *throttle) wait(client string) time.Duration {
	t.mu.Lock()
	defer t.mu.Unlock()
	return max(0, t.clients[client].until.Sub(t.now()))
}

func (t *throttle) failed(client string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	now := t.now()
	a, known := t.clients[client]
	if !known && len(t.clients) >= maxClients {
		t.dropOldest()
	}
	if now.Sub(a.last) > forgetAfter {
		a = attempts{}
	}
	a.failed++
	a.last = now
	if over := a.failed - freeTries; over > 0 {
		a.until = now.Add(min(longWait, firstWait<<min(over-1, 10)))
	}
	t.clients[client] = a
}

func (t *throttle) passed(client string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	delete(t.clients, client)
}

func (t *throttle) dropOldest() {
	var who string
	var first time.Time
	for c, a := range t.clients {
		if first.IsZero() || a.last.Before(first) {
			who, first = c, a.last
		}
	}
	delete(t.clients, who)
}

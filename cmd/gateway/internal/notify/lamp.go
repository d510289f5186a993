package notify

import (
	"context"
	"sync"
	"time"

	"fabricpot/valves"
)

// testBlink is how long a lamp is on for a self-test.
const testBlink = 3 * time.Second

// Lamp is a lamp or buzzer: on for a while after each message about an alarm that
// holds, and dark as soon as somebody has seen them all.
type Lamp struct {
	on    *valves.Indicator
	onFor time.Duration
	mono  func() time.Duration

	mu   sync.Mutex
	lit  bool
	test time.Duration // until when a test is shown
}

// NewLamp makes a way out of an indicator, on for so long after each message. mono
// is the monotonic clock. It is dark from now on.
func NewLamp(i *valves.Indicator, onFor time.Duration, mono func() time.Duration) (*Lamp, error) {
	return &Lamp{on: i, onFor: onFor, mono: mono}, i.Dark()
}

// Name says what it is.
func (l *Lamp) Name() string { return "lamp" }

// Send lights it.
func (l *Lamp) Send(_ context.Context, m *Message) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	now := l.mono()
	switch {
	case m.Kind == KindSelfTest:
		l.lit, l.test = true, now+testBlink
		return l.on.Light(now, testBlink)
	case m.active():
		l.lit = true
		return l.on.Light(now, l.onFor)
	}
	return nil // what is over needs no light
}

// Tend darkens it where its time is over or where nobody is waited for. It is
// called every second or so.
func (l *Lamp) Tend(waitedFor bool) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	now := l.mono()
	if l.lit && !waitedFor && now >= l.test {
		l.lit = false
		return l.on.Dark()
	}
	return l.on.Advance(now)
}

// End darkens it.
func (l *Lamp) End() error { return l.on.Dark() }

package runner

import (
	"errors"
	"fmt"
	"time"

	"fabricpot/control/garden"
)

// The restart budget: what crashes this often can't be trusted to decide, and a
// terrace dead of thirst is no safe state. So automatic control goes off, the
// guard's survival doses go on, and the alarm says why.
const (
	crashesMost = 3
	crashSpan   = 10 * time.Minute
)

// starter is a History that remembers starts and orderly stops.
type starter interface {
	Started(now garden.Moment, span time.Duration) (crashes int, err error)
	Stopped() error
}

// started notes the start and spends the budget.
func (l *Loop) started(now garden.Moment) {
	h, ok := l.p.History.(starter)
	if !ok {
		return
	}
	crashes, err := h.Started(now, crashSpan)
	l.check(now, "note the start", err)
	l.noted = err == nil || errors.As(err, new(notedBeside))
	if crashes < crashesMost {
		return
	}
	l.p.State.AutoOff = true
	l.watch.offWhy = fmt.Sprintf("the gateway crashed %d times within %v, so it gives survival doses only", crashes, crashSpan)
	l.p.Tell.Failed(now, "go on by itself", fmt.Errorf("%s; save what 'gateway doctor' says, then turn it on with 'gateway automatic on'", l.watch.offWhy))
}

// stopped notes an orderly stop, of this start and no earlier one. After a panic
// there is none, though every line was closed.
func (l *Loop) stopped(now garden.Moment) {
	if !l.noted || l.crashed.Load() {
		return
	}
	if h, ok := l.p.History.(starter); ok {
		l.check(now, "note the stop", h.Stopped())
	}
}

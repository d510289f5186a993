package runner

import (
	"bytes"
	"fmt"
	"time"

	"fabricpot/control/garden"
)

// limitMemory is a History that remembers which limits held until when.
type limitMemory interface {
	Limits() (held []byte, sameClock bool, err error)
}

// keptLimits are the limits as the journal has them.
type keptLimits struct {
	text   []byte
	turned uint64
	looked bool
	// again is when to try again after a write that failed, on Mono.
	again time.Duration
}

// limitsAgain is how long a card that can't be written is left alone with this:
// what it does not know yet counts from the next start, which is no looser.
const limitsAgain = 10 * time.Minute

// recallLimits has limits of earlier runs hold for what is left of their day: a
// start in that day must not let a looser one hold at once. What can't be made out
// is told and costs no more than that.
func (l *Loop) recallLimits(now garden.Moment) error {
	h, ok := l.p.History.(limitMemory)
	if !ok {
		return nil
	}
	held, sameClock, err := h.Limits()
	if err != nil {
		return fmt.Errorf("runner: the journal's limits: %w", err)
	}
	if held != nil {
		l.check(now, "recall which limits hold", l.p.Guard.Recall(now, held, sameClock))
		l.limits.text = held
	}
	return nil
}

// keepLimits keeps which limits hold until when, where that changed.
func (l *Loop) keepLimits(now garden.Moment) {
	k, ok := l.p.Journal.(interface{ KeepLimits(held []byte) error })
	turned := l.p.Guard.LimitsTurned()
	if !ok || l.limits.looked && turned == l.limits.turned || now.Mono < l.limits.again {
		return
	}
	text, err := l.p.Guard.Limits()
	if err == nil && !bytes.Equal(text, l.limits.text) {
		err = k.KeepLimits(text)
	}
	l.check(now, "keep which limits hold", err)
	if err != nil {
		l.limits.again = now.Mono + limitsAgain
		return
	}
	l.limits = keptLimits{text: text, turned: turned, looked: true}
}

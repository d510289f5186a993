package runner

import (
	"errors"
	"fmt"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/control/alarm"
	"fabricpot/control/garden"
)

// The restart budget: what crashes this often can't be trusted to decide, and a
// terrace dead of thirst is no safe state. So automatic control goes off, the
// guard's survival doses go on, and the alarm says why. It stays off over restarts,
// for budgetFor or until a person turns it on: after a day it may try again, since
// a person may be away for weeks. What crashes on with automatic control off can't
// be trusted to dose either, and is left out; see bare.go.
const (
	crashesMost = 3
	// crashSpan is ten minutes and the pauses of who starts it again: a gateway that
	// hangs is killed after five minutes, and three times in a row is often enough.
	crashSpan = 11 * time.Minute
	budgetFor = 24 * time.Hour
	// crashTold is how long a single crash stays an alarm.
	crashTold = 12 * time.Hour
)

// starter is a History that remembers starts and orderly stops.
type starter interface {
	Started(now garden.Moment, span time.Duration) (journal.Starts, error)
	Stopped() error
}

// spender is one that remembers that the restart budget was spent.
type spender interface {
	KeepSpent(at garden.Moment) error
	CountSpent(now garden.Moment, s journal.Spent) error
	Spent(now garden.Moment) (journal.Spent, bool, error)
	ForgetSpent() error
}

// budget is what became of the restart budget.
type budget struct {
	spent bool
	till  time.Duration // on Mono
	// unsure tells that how long ago is not known before the clock is.
	unsure bool
	// asked tells that a person turned automatic control off as well.
	asked bool
	why   string
	// crashed is until when the last crash is an alarm.
	crashed time.Duration
}

// started notes the start and spends the budget.
func (l *Loop) started(now garden.Moment) {
	h, ok := l.p.History.(starter)
	if !ok {
		return
	}
	past, err := h.Started(now, crashSpan)
	l.check(now, "note the start", err)
	l.noted = err == nil || errors.As(err, new(notedBeside))
	if past.Crashed {
		l.budget.crashed = now.Mono + crashTold
	}
	spent, was := journal.Spent{}, false
	kept, keeps := l.p.History.(spender)
	if keeps {
		spent, was, err = kept.Spent(now)
		l.check(now, "recall the restart budget", err)
	}
	often := past.Crashes >= crashesMost
	switch {
	case was && spent.Ago < budgetFor:
		if past.Crashed {
			spent.Crashes++
			l.check(now, "keep the restart budget", kept.CountSpent(now, spent))
		}
		l.bare.on = often && spent.Crashes >= crashesMost
		l.budget.unsure = !spent.Known
	case often:
		spent = journal.Spent{}
		if keeps {
			l.check(now, "keep the restart budget", kept.KeepSpent(now))
		}
	default:
		if was {
			l.check(now, "forget the restart budget", kept.ForgetSpent())
		}
		return
	}
	l.budget.spent, l.budget.till = true, now.Mono-spent.Ago+budgetFor
	l.budget.why = fmt.Sprintf("the gateway crashed %d times within %v, so it gives survival doses only", crashesMost, crashSpan)
	if l.bare.on {
		l.budget.why += ", by the clock alone, since it went on crashing"
	}
	l.p.State.SwitchedOff(now.Mono - spent.Ago)
	l.p.Tell.Failed(now, "go on by itself", fmt.Errorf("%s; save what 'gateway doctor' says, then turn it on with 'gateway automatic on'", l.budget.why))
}

// switched takes in that a person switched automatic control.
func (l *Loop) switched(now garden.Moment, on bool) {
	l.budget.asked = !on
	if on && l.budget.spent {
		l.budget.till = now.Mono
		l.giveBack(now)
		return
	}
	l.p.State.AutoOff = !on
}

// giveBack ends what a spent budget brought. What earlier runs left is taken up first:
// where it can't be read nothing is decided on a guess, and the next round tries again.
func (l *Loop) giveBack(now garden.Moment) {
	if l.bare.on {
		if err := l.takeUp(now); err != nil {
			l.check(now, "take up what earlier runs left", err)
			return
		}
	}
	l.budget.spent = false
	l.p.State.AutoOff = l.budget.asked
	if s, ok := l.p.History.(spender); ok {
		l.check(now, "forget the restart budget", s.ForgetSpent())
	}
}

// tryAgain has automatic control try again when the budget was spent for long enough.
func (l *Loop) tryAgain(now garden.Moment) {
	if s, ok := l.p.History.(spender); ok && l.budget.unsure && now.Synced {
		l.budget.unsure = false
		if spent, was, err := s.Spent(now); err == nil && was && spent.Known {
			l.budget.till = now.Mono - spent.Ago + budgetFor
		}
	}
	if l.budget.spent && now.Mono >= l.budget.till {
		l.giveBack(now)
	}
}

// crashes holds the alarms of crashes.
func (l *Loop) crashes(now garden.Moment) {
	if l.budget.spent {
		l.watch.hold(now, alarm.KeepsCrashing, "", l.budget.why)
	}
	if now.Mono < l.budget.crashed {
		l.watch.book.Hold(now, alarm.Crashed, "", "", alarm.Cause{Kind: alarm.KeepsCrashing})
	}
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

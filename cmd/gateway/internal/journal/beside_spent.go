package journal

import "fabricpot/control/garden"

// besideSpent is what became of the restart budget where the journal can't tell.
type besideSpent struct {
	Clock   string        `json:"clock"`
	At      garden.Moment `json:"at"`
	Crashes int           `json:"crashes"`
	// Back tells that it was given back, whatever the journal says.
	Back bool `json:"back,omitempty"`
}

// KeepSpent is the journal's.
func (b *Beside) KeepSpent(at garden.Moment) error {
	return b.setSpent(func() *besideSpent { return &besideSpent{Clock: b.clock, At: at} })
}

// CountSpent is the journal's, of one that was spent as long ago as s says.
func (b *Beside) CountSpent(now garden.Moment, s Spent) error {
	return b.setSpent(func() *besideSpent {
		return &besideSpent{Clock: b.clock, At: now.Add(-s.Ago), Crashes: s.Crashes}
	})
}

// HaveSpent forgets what is known here: the journal has it.
func (b *Beside) HaveSpent() error {
	return b.setSpent(func() *besideSpent { return nil })
}

// ForgetSpent remembers that it was given back; known tells that the journal has that.
func (b *Beside) ForgetSpent(known bool) error {
	return b.setSpent(func() *besideSpent {
		b.Starts = nil
		if known {
			return nil
		}
		return &besideSpent{Back: true}
	})
}

func (b *Beside) setSpent(to func() *besideSpent) error {
	if b == nil {
		return nil
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	had, starts := b.Spent, len(b.Starts)
	if b.Spent = to(); b.Spent == nil && had == nil && len(b.Starts) == starts {
		return nil
	}
	return b.save()
}

// SpentAs returns what it knows: nothing (known false), that the budget was given back,
// or that it was spent.
func (b *Beside) SpentAs(now garden.Moment) (s Spent, spent, known bool) {
	if b == nil {
		return Spent{}, false, false
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.Spent == nil {
		return Spent{}, false, false
	}
	if b.Spent.Back {
		return Spent{}, false, true
	}
	age := ago(now, b.Spent.At, b.Spent.Clock == b.clock && b.clock != "")
	return Spent{Ago: max(0, age), Known: age >= 0, Crashes: b.Spent.Crashes}, true, true
}

package runner

import (
	"errors"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/control/garden"
)

// NewUnkept returns a Recorder for a gateway whose journal can't be opened. j
// stands in for it, in memory, so that people see what happens; but nothing in
// it outlives the power, so no intent counts as kept: the guard's no-journal
// budget holds, and why is an alarm.
func NewUnkept(j *journal.Journal, why error) *Keeper { return &Keeper{Journal: j, unkept: why} }

// KeepBeside has what opens while the journal can't be written remembered there,
// for the next run where this one is killed, and takes up what the last one left.
func (k *Keeper) KeepBeside(b *journal.Beside) error {
	k.beside = b
	if k.unkept != nil {
		return nil
	}
	last, err := k.Journal.LastOrderID()
	if err != nil {
		return err
	}
	return b.Number(last)
}

// IntendBeside remembers an order that Intend could not keep.
func (k *Keeper) IntendBeside(o garden.Order, maxLitres float64, at garden.Moment) error {
	return k.beside.Intend(o, maxLitres, at, k.unkept != nil)
}

// SettleBeside remembers what became of one.
func (k *Keeper) SettleBeside(d garden.Delivery) error { return k.beside.Settle(d) }

// Settle records an outcome. One in a journal that stands in for another is no
// record: it stays remembered beside.
func (k *Keeper) Settle(d garden.Delivery) error {
	if err := k.Journal.Settle(d); err != nil {
		return err
	}
	if k.unkept != nil {
		return k.beside.Settle(d)
	}
	return k.beside.Forget(d.Order)
}

// Unfinished returns every intent without an outcome, those remembered beside too.
func (k *Keeper) Unfinished() ([]garden.Intent, error) {
	kept, err := k.Journal.Unfinished()
	if err != nil {
		return nil, err
	}
	return k.beside.Unfinished(kept), nil
}

// Recent returns the deliveries that may lie within the day before now, those
// remembered beside too.
func (k *Keeper) Recent(now garden.Moment) ([]garden.PastDelivery, error) {
	kept, err := k.Journal.Recent(now)
	if err != nil {
		return nil, err
	}
	for i := range kept {
		kept[i].Unwritten = k.unkept != nil
	}
	return k.beside.Recent(kept), nil
}

// LastOrderID is the highest order number the journal or what is remembered beside
// has seen, 0 for none.
func (k *Keeper) LastOrderID() (garden.OrderID, error) {
	last, err := k.Journal.LastOrderID()
	return k.beside.Last(last), err
}

// Intend has the order on stable storage when it returns nil.
func (k *Keeper) Intend(o garden.Order, maxLitres float64, at garden.Moment) error {
	if k.unkept != nil {
		return k.unkept
	}
	return k.Journal.Intend(o, maxLitres, at)
}

// asked keeps a request. One that outlives a restart and that no journal can keep is
// remembered beside, and so is each after it, until the journal has them all.
func (k *Keeper) asked(now garden.Moment, a garden.Ask) error {
	outlives := journal.Outlives(a.Kind)
	if outlives {
		if err := k.carry(); err != nil {
			bad := k.beside.Ask(now, a)
			if bad != nil { // then at least in the journal, which may take it
				bad = errors.Join(bad, k.carry())
			}
			return errors.Join(err, bad)
		}
	}
	err := k.AddAsk(now, a, "")
	if outlives && (err != nil || k.unkept != nil) {
		err = errors.Join(err, k.beside.Ask(now, a))
	}
	return err
}

// carry takes requests that are remembered beside into the journal.
func (k *Keeper) carry() error {
	if k.unkept != nil {
		return nil
	}
	return k.beside.Carry(func(at garden.Moment, a garden.Ask) error { return k.AddAsk(at, a, "") })
}

// Standing returns what people asked for that outlives a restart, with what is
// remembered beside.
func (k *Keeper) Standing(now time.Time) ([]garden.Ask, error) {
	_ = k.carry() // what the journal doesn't take yet is added below
	kept, err := k.Journal.Standing(now)
	if err != nil {
		return nil, err
	}
	return k.beside.Standing(kept, now), nil
}

// notedBeside is why a start is remembered beside the journal and not in it.
type notedBeside struct{ error }

func (e notedBeside) Unwrap() error { return e.error }

// Started notes that a gateway begins now and returns how those before it ended, as
// the journal does. A start that the journal can't note is remembered
// beside; the error is a notedBeside then.
func (k *Keeper) Started(now garden.Moment, span time.Duration) (journal.Starts, error) {
	past, err := k.Journal.StartedAfter(now, span, k.beside.EarlierStarts())
	if err == nil {
		if bad := k.beside.ForgetStarts(); bad != nil {
			return past, notedBeside{bad} // noted it is
		}
		return past, nil
	}
	if k.beside != nil {
		if bad := k.beside.Started(now); bad != nil {
			return past, errors.Join(err, bad)
		}
		k.begun, err = true, notedBeside{err}
	}
	return past, err
}

// KeepSpent remembers that the restart budget was spent, beside the journal where that
// can't.
func (k *Keeper) KeepSpent(at garden.Moment) error {
	err := k.Journal.KeepSpent(at)
	if err != nil || k.unkept != nil {
		return errors.Join(err, k.beside.KeepSpent(at))
	}
	return k.beside.HaveSpent()
}

// CountSpent remembers how many crashes there were since.
func (k *Keeper) CountSpent(now garden.Moment, s journal.Spent) error {
	err := k.Journal.CountSpent(now, s)
	if err != nil || k.unkept != nil {
		return errors.Join(err, k.beside.CountSpent(now, s))
	}
	return k.beside.HaveSpent()
}

// Spent returns the restart budget that was spent, if it was and was not given back.
func (k *Keeper) Spent(now garden.Moment) (journal.Spent, bool, error) {
	if s, spent, known := k.beside.SpentAs(now); known {
		if !spent {
			return s, false, k.ForgetSpent() // which the journal may take by now
		}
		return s, true, nil
	}
	return k.Journal.Spent(now)
}

// ForgetSpent gives it back.
func (k *Keeper) ForgetSpent() error {
	err := k.Journal.ForgetSpent()
	return errors.Join(err, k.beside.ForgetSpent(err == nil && k.unkept == nil))
}

// Stopped notes that it stops in good order, where its start is noted.
func (k *Keeper) Stopped() error {
	if k.begun {
		return k.beside.Stopped()
	}
	return k.Journal.Stopped()
}

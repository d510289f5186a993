package runner

import (
	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/control/garden"
)

// NewUnkept returns a Recorder for a gateway whose journal can't be opened. j
// stands in for it, in memory, so that people see what happens; but nothing in
// it outlives the power, so no intent counts as kept: the guard's no-journal
// budget holds, and why is an alarm.
func NewUnkept(j *journal.Journal, why error) *Keeper { return &Keeper{Journal: j, unkept: why} }

// Intend has the order on stable storage when it returns nil.
func (k *Keeper) Intend(o garden.Order, maxLitres float64, at garden.Moment) error {
	if k.unkept != nil {
		return k.unkept
	}
	return k.Journal.Intend(o, maxLitres, at)
}

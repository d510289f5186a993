package alarm

import (
	"time"

	"fabricpot/control/garden"
)

// MostShelved is the longest an alarm may be out of service at a time: one that
// is put away for good is one that nobody knows of any more.
const MostShelved = 30 * 24 * time.Hour

// Acknowledge tells that a person saw an alarm. It reports false where there is
// none, or it was acknowledged before.
func (b *Book) Acknowledge(now garden.Moment, k Kind, subject, who string) (Change, bool) {
	e := b.at[Cause{k, subject}]
	if e == nil || !e.pending || e.acked {
		return Change{}, false
	}
	e.acked = true
	e.pending = e.active
	return e.change(now, Acknowledged, who), true
}

// Shelve takes a cause out of service until a monotonic time, at most MostShelved
// away: it is watched but not told of. A cause that does not hold now may be
// shelved too. It reports false where the time or the cause is none.
func (b *Book) Shelve(now garden.Moment, k Kind, subject string, until time.Duration, who string) (Change, bool) {
	if k >= kinds || until <= now.Mono || until-now.Mono > MostShelved {
		return Change{}, false
	}
	e := b.entry(now, Cause{k, subject})
	if e == nil {
		return Change{}, false
	}
	if e.text == "" {
		e.text = k.Text()
	}
	e.shelved, e.shelvedBy, e.shelvedFor = until, who, until-now.Mono
	return e.change(now, Shelved, who), true
}

// Unshelve puts a cause back into service before its time. The changes are those
// of a return: where its condition outlived the shelf it is raised anew. It
// reports false where it was not out of service.
func (b *Book) Unshelve(now garden.Moment, k Kind, subject, who string) ([]Change, bool) {
	e := b.at[Cause{k, subject}]
	if e == nil || e.shelved == 0 {
		return nil, false
	}
	b.changes = b.changes[:0]
	b.unshelve(now, e, who)
	b.forget()
	return b.changes, true
}

func (b *Book) unshelve(now garden.Moment, e *entry, who string) {
	e.shelved, e.shelvedBy, e.shelvedFor = 0, "", 0
	b.note(now, e, Returned, who)
	// A condition that outlived its shelf is news again.
	if e.active {
		e.acked, e.pending, e.said = false, true, true
		b.note(now, e, Raised, "")
	}
}

// Empty tells that nothing is held, and no alarm stands.
func (b *Book) Empty() bool { return len(b.entries) == 0 }

// Holds reports whether a condition held at the last Step or since.
func (b *Book) Holds(k Kind, subject string) bool {
	e := b.at[Cause{k, subject}]
	return e != nil && e.holds
}

package journal

import (
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"fabricpot/control/garden"
)

// spentKey names the restart budget among the journal's small values.
const spentKey = "restart_budget"

// spent is a restart budget that was spent, as it is kept.
type spent struct {
	At beginning `json:"at"`
	// Crashes are those since.
	Crashes int `json:"crashes"`
}

// Spent is a restart budget that was spent.
type Spent struct {
	// Ago is how long ago, as far as Known tells; else 0.
	Ago   time.Duration
	Known bool
	// Crashes are those since.
	Crashes int
}

// KeepSpent remembers that the restart budget was spent at that moment of this clock.
func (j *Journal) KeepSpent(at garden.Moment) error {
	return j.setSpent(spent{At: j.beginningAt(at)})
}

// CountSpent remembers how many crashes there were since, of a budget that is known to
// be spent; when stays as it is kept.
func (j *Journal) CountSpent(now garden.Moment, s Spent) error {
	kept, ok, err := j.spent()
	if err != nil {
		return err
	}
	if !ok {
		kept.At = j.beginningAt(now.Add(-s.Ago))
	}
	kept.Crashes = s.Crashes
	return j.setSpent(kept)
}

// Spent returns the restart budget that was spent, if it was and was not given back.
func (j *Journal) Spent(now garden.Moment) (Spent, bool, error) {
	s, ok, err := j.spent()
	if err != nil || !ok {
		return Spent{}, false, err
	}
	age := j.age(now, s.At)
	return Spent{Ago: max(0, age), Known: age >= 0, Crashes: max(0, s.Crashes)}, true, nil
}

// ForgetSpent gives the restart budget back: what crashed before counts no more.
func (j *Journal) ForgetSpent() error {
	all, err := j.starts()
	for i := range all[:max(0, len(all)-1)] {
		all[i].Clean = true
	}
	if err == nil && len(all) > 0 {
		err = j.keepStarts(all)
	}
	return errors.Join(err, j.SetMeta(spentKey, ""))
}

func (j *Journal) setSpent(s spent) error {
	b, err := json.Marshal(s)
	if err != nil {
		return fmt.Errorf("journal: restart budget: %w", err)
	}
	return j.SetMeta(spentKey, string(b))
}

func (j *Journal) spent() (s spent, ok bool, err error) {
	text, found, err := j.Meta(spentKey)
	if err != nil || !found || text == "" {
		return s, false, err
	}
	if err := json.Unmarshal([]byte(text), &s); err != nil {
		return spent{}, false, nil // not ours to mend, and crashes are counted anew
	}
	return s, true, nil
}

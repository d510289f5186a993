package journal

import (
	"encoding/json"
	"fmt"
	"time"

	"fabricpot/control/garden"
)

// spentKey names the restart budget among the journal's small values.
const spentKey = "restart_budget"

// spent is a restart budget that was spent.
type spent struct {
	At beginning `json:"at"`
	// Crashes are those since.
	Crashes int `json:"crashes"`
}

// KeepSpent remembers that the restart budget was spent at that moment of this clock,
// and how many crashes there were since.
func (j *Journal) KeepSpent(at garden.Moment, crashes int) error {
	b, err := json.Marshal(spent{At: beginning{Clock: j.clockID, MonoNS: int64(at.Mono), Wall: at.Wall.UTC(), Synced: at.Synced}, Crashes: crashes})
	if err != nil {
		return fmt.Errorf("journal: restart budget: %w", err)
	}
	return j.SetMeta(spentKey, string(b))
}

// Spent returns how long ago the restart budget was spent and how many crashes there
// were since. Where nothing tells how long ago, it was just now: 0.
func (j *Journal) Spent(now garden.Moment) (ago time.Duration, crashes int, ok bool, err error) {
	text, found, err := j.Meta(spentKey)
	if err != nil || !found || text == "" {
		return 0, 0, false, err
	}
	var s spent
	if err := json.Unmarshal([]byte(text), &s); err != nil {
		return 0, 0, false, nil // not ours to mend, and crashes are counted anew
	}
	return max(0, j.age(now, s.At)), max(0, s.Crashes), true, nil
}

// ForgetSpent gives the restart budget back.
func (j *Journal) ForgetSpent() error { return j.SetMeta(spentKey, "") }

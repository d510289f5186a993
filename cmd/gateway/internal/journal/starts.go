package journal

import (
	"encoding/json"
	"fmt"
	"time"

	"fabricpot/control/garden"
)

const (
	startsKey = "starts"
	// keptStarts bounds what is remembered of starts.
	keptStarts = 16
)

// beginning is one beginning of a gateway.
type beginning struct {
	Clock  int64     `json:"clock"`
	MonoNS int64     `json:"mono_ns"`
	Wall   time.Time `json:"wall"`
	Synced bool      `json:"synced"`
	// Clean is set when it stopped in good order.
	Clean bool `json:"clean"`
}

// Started notes that a gateway begins now and returns how many of those that
// began within span before it never stopped in good order. One whose age can't
// be told - another clock, and no confirmed time - does not count: a board whose
// power is cut now and then has not crashed again and again.
func (j *Journal) Started(now garden.Moment, span time.Duration) (crashes int, err error) {
	all, err := j.starts()
	if err != nil {
		return 0, err
	}
	for _, s := range all {
		age := time.Duration(-1)
		switch {
		case s.Clock == j.clockID:
			age = now.Mono - time.Duration(s.MonoNS)
		case s.Synced && now.Synced:
			age = now.Wall.Sub(s.Wall)
		}
		if !s.Clean && age >= 0 && age <= span {
			crashes++
		}
	}
	all = append(all, beginning{Clock: j.clockID, MonoNS: int64(now.Mono), Wall: now.Wall.UTC(), Synced: now.Synced})
	return crashes, j.keepStarts(all[max(0, len(all)-keptStarts):])
}

// Stopped notes that the gateway that began last stops in good order.
func (j *Journal) Stopped() error {
	all, err := j.starts()
	if err != nil || len(all) == 0 || all[len(all)-1].Clean {
		return err
	}
	all[len(all)-1].Clean = true
	return j.keepStarts(all)
}

func (j *Journal) starts() ([]beginning, error) {
	text, ok, err := j.Meta(startsKey)
	if err != nil || !ok {
		return nil, err
	}
	var all []beginning
	if err := json.Unmarshal([]byte(text), &all); err != nil {
		return nil, nil // not ours to mend, and no reason to stay shut
	}
	return all, nil
}

func (j *Journal) keepStarts(all []beginning) error {
	b, err := json.Marshal(all)
	if err != nil {
		return fmt.Errorf("journal: starts: %w", err)
	}
	return j.SetMeta(startsKey, string(b))
}

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

// Starts is what the journal knows of gateways before this one.
type Starts struct {
	// Crashes is how many ended within a span before now and not in good order.
	Crashes int
	// Crashed tells that the last one did, while the board ran on.
	Crashed bool
}

// Started notes that a gateway begins now and returns how those before it ended. When
// one did that was not told to is not known; it was before the next began, and after
// its own start. On another clock that is all that is said: a board whose power is cut
// now and then has not crashed again and again. One whose age can't be told - another
// clock, and no confirmed time - does not count.
func (j *Journal) Started(now garden.Moment, span time.Duration) (Starts, error) {
	return j.StartedAfter(now, span, nil)
}

// BesideStart is a start that the journal could not note.
type BesideStart struct {
	At garden.Moment
	// SameClock tells that Mono counts on this clock; Clean that it stopped in good order.
	SameClock, Clean bool
}

// StartedAfter is Started after starts that the journal could not note since the last
// it knows; it takes them in.
func (j *Journal) StartedAfter(now garden.Moment, span time.Duration, beside []BesideStart) (Starts, error) {
	all, bad := j.starts()
	for _, s := range append(beside, BesideStart{At: now, SameClock: true}) {
		one := j.beginningAt(s.At)
		if one.Clean = s.Clean; !s.SameClock {
			one.Clock = -1
		}
		all = append(all, one)
	}
	var out Starts
	for i, s := range all[:len(all)-1] {
		ended := s
		if next := all[i+1]; next.Clock == s.Clock {
			ended = next
		}
		age := j.age(now, ended)
		if !s.Clean && age >= 0 && age <= span {
			out.Crashes++
		}
		out.Crashed = !s.Clean && s.Clock == j.clockID
	}
	if bad != nil {
		return out, bad
	}
	return out, j.keepStarts(all[max(0, len(all)-keptStarts):])
}

// beginningAt is one at that moment of this clock.
func (j *Journal) beginningAt(at garden.Moment) beginning {
	return beginning{Clock: j.clockID, MonoNS: int64(at.Mono), Wall: at.Wall.UTC(), Synced: at.Synced}
}

// age is how long ago that was, negative where nothing tells.
func (j *Journal) age(now garden.Moment, s beginning) time.Duration {
	return ago(now, garden.Moment{Mono: time.Duration(s.MonoNS), Wall: s.Wall, Synced: s.Synced}, s.Clock == j.clockID)
}

// ago is how long ago a moment was, by this clock or by the time, negative where neither
// tells.
func ago(now, at garden.Moment, sameClock bool) time.Duration {
	switch {
	case sameClock:
		return now.Mono - at.Mono
	case at.Synced && now.Synced:
		return now.Wall.Sub(at.Wall)
	}
	return -1
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

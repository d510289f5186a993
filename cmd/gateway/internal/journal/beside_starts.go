package journal

import (
	"slices"
	"time"

	"fabricpot/control/garden"
)

// besideStart is one beginning of a gateway that its journal could not note.
type besideStart struct {
	Clock string        `json:"clock"`
	At    garden.Moment `json:"at"`
}

// Crashes is how many of the starts remembered here began within span before now;
// none of them stopped in good order. Older ones are forgotten.
func (b *Beside) Crashes(now garden.Moment, span time.Duration) (int, error) {
	if b == nil {
		return 0, nil
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	had := len(b.Starts)
	b.Starts = slices.DeleteFunc(b.Starts, func(s besideStart) bool {
		age := time.Duration(-1) // as for Journal.Started
		switch {
		case s.Clock == b.clock && b.clock != "":
			age = now.Mono - s.At.Mono
		case s.At.Synced && now.Synced:
			age = now.Wall.Sub(s.At.Wall)
		}
		return age < 0 || age > span
	})
	if len(b.Starts) == had {
		return had, nil
	}
	return len(b.Starts), b.save()
}

// Started remembers that a gateway begins now.
func (b *Beside) Started(now garden.Moment) error {
	if b == nil {
		return nil
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.Starts = append(b.Starts, besideStart{Clock: b.clock, At: now})
	b.Starts = b.Starts[max(0, len(b.Starts)-keptStarts):]
	return b.save()
}

// Stopped forgets the last start: it stops in good order.
func (b *Beside) Stopped() error {
	if b == nil {
		return nil
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(b.Starts) == 0 {
		return nil
	}
	b.Starts = b.Starts[:len(b.Starts)-1]
	return b.save()
}

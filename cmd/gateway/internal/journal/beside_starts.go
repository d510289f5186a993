package journal

import (
	"fabricpot/control/garden"
)

// besideStart is one beginning of a gateway that its journal could not note.
type besideStart struct {
	Clock string        `json:"clock"`
	At    garden.Moment `json:"at"`
	Clean bool          `json:"clean,omitempty"`
}

// EarlierStarts are those remembered here, oldest first.
func (b *Beside) EarlierStarts() []BesideStart {
	if b == nil {
		return nil
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	out := make([]BesideStart, 0, len(b.Starts))
	for _, s := range b.Starts {
		out = append(out, BesideStart{At: s.At, SameClock: s.Clock == b.clock && b.clock != "", Clean: s.Clean})
	}
	return out
}

// ForgetStarts forgets them: a journal has them.
func (b *Beside) ForgetStarts() error {
	if b == nil {
		return nil
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(b.Starts) == 0 {
		return nil
	}
	b.Starts = nil
	return b.save()
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

// Stopped notes that the last one stops in good order.
func (b *Beside) Stopped() error {
	if b == nil {
		return nil
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(b.Starts) == 0 {
		return nil
	}
	b.Starts[len(b.Starts)-1].Clean = true
	return b.save()
}

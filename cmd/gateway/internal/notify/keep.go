package notify

import (
	"cmp"
	"encoding/json"
	"slices"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
)

// kept is what of a book outlives a restart, as JSON.
type kept struct {
	Tested string     `json:"self_tested,omitempty"`
	At     time.Time  `json:"at"`
	Told   []keptSaid `json:"told"`
}

type keptSaid struct {
	Line runner.AlarmLine `json:"alarm"`
	Told int              `json:"times"`
	// Wait is how long after At it is told again, ns.
	Wait  time.Duration `json:"wait_ns"`
	Ended bool          `json:"ended,omitempty"`
}

// Keep returns what must outlive a restart.
func (b *Book) Keep(now garden.Moment) ([]byte, error) {
	k := kept{Tested: b.tested, At: now.Wall, Told: []keptSaid{}}
	for _, s := range b.said {
		if s.told == 0 && !s.ended {
			continue // nobody knows of it yet
		}
		k.Told = append(k.Told, keptSaid{Line: s.line, Told: s.told, Wait: max(0, s.next-now.Mono), Ended: s.ended})
	}
	slices.SortFunc(k.Told, func(x, y keptSaid) int {
		return cmp.Or(cmp.Compare(x.Line.Name, y.Line.Name), cmp.Compare(x.Line.About, y.Line.About))
	})
	return json.Marshal(k)
}

// Restore takes up what an earlier run told, so that a restart repeats nothing
// before its time and the end of what was told is told.
func (b *Book) Restore(now garden.Moment, text []byte) error {
	var k kept
	if err := json.Unmarshal(text, &k); err != nil {
		return err
	}
	b.tested = k.Tested
	ago := time.Duration(0)
	if now.Synced {
		ago = max(0, now.Wall.Sub(k.At))
	}
	for _, t := range k.Told {
		wait := min(max(t.Wait, 0), b.set.RepeatMost)
		b.said[key{t.Line.Name, t.Line.About}] = &said{line: t.Line, told: max(t.Told, 0), ended: t.Ended, next: now.Mono + max(0, wait-ago)}
	}
	return nil
}

// Again has everything that still waits told anew: what was to be sent was not.
func (b *Book) Again() {
	for _, s := range b.said {
		if s.told > 0 {
			s.next = 0
		}
	}
}

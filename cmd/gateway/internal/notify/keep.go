package notify

import (
	"encoding/json"
	"sort"
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

// Keep returns what must outlive a restart. What unsent holds, oldest first, was
// decided but reached nobody by one of the ways: the next run tells it anew, so
// that it may come twice and is not lost.
func (b *Book) Keep(now garden.Moment, unsent []*Message) ([]byte, error) {
	k := kept{Tested: b.tested, At: now.Wall, Told: []keptSaid{}}
	last := map[key]Item{}
	for _, m := range unsent {
		if month, err := time.Parse("2006-01", b.tested); m.Kind == KindSelfTest && err == nil {
			k.Tested = month.AddDate(0, -1, 0).Format("2006-01")
		}
		for _, i := range m.Alarms {
			if m.Kind == KindAlarm {
				last[key{i.Name, i.About}] = i
			}
		}
	}
	for at, s := range b.said {
		if s.told == 0 && !s.ended {
			continue // nobody knows of it yet
		}
		x := keptSaid{Line: s.line, Told: s.told, Wait: max(0, s.next-now.Mono), Ended: s.ended}
		if i, ok := last[at]; ok {
			if i.State == StatePassed && !s.line.Active {
				continue
			}
			x.Wait, x.Ended = 0, false
		}
		k.Told = append(k.Told, x)
	}
	for at, i := range last {
		if b.said[at] == nil && i.State == StateOver {
			// It left the list when it was told.
			k.Told = append(k.Told, keptSaid{Line: runner.AlarmLine{Name: i.Name, About: i.About, Since: i.Since, Text: i.What, Next: i.Next, Serious: i.Serious}, Told: max(i.Told, 1)})
		}
	}
	sort.Slice(k.Told, func(i, j int) bool { return byName(k.Told[i].Line, k.Told[j].Line) < 0 })
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

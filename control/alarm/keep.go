package alarm

import (
	"time"

	"fabricpot/control/garden"
)

// Kept is one cause as it outlives a restart. Times are civil: the monotonic
// clock begins anew.
type Kept struct {
	Kind         string    `json:"kind"`
	Subject      string    `json:"subject,omitempty"`
	Text         string    `json:"text"`
	Since        time.Time `json:"since"`
	Active       bool      `json:"active,omitempty"`
	Said         bool      `json:"said,omitempty"`
	Acknowledged bool      `json:"acknowledged,omitempty"`
	Pending      bool      `json:"pending,omitempty"`
	// ShelvedUntil is when it comes back into service, and ShelvedFor, ns, how
	// long from the moment of keeping that is; zero where it is in service.
	ShelvedUntil time.Time     `json:"out_of_service_until,omitzero"`
	ShelvedFor   time.Duration `json:"out_of_service_ns,omitempty"`
	ShelvedBy    string        `json:"out_of_service_by,omitempty"`
}

// Keep returns what must outlive a restart, worst first.
func (b *Book) Keep(now garden.Moment) []Kept {
	var out []Kept
	for k := range kinds {
		for _, e := range b.entries {
			if e.Kind != k || !e.active && !e.pending && e.shelved == 0 {
				continue
			}
			kept := Kept{Kind: e.Kind.String(), Subject: e.Subject, Text: e.text, Since: e.since.Wall,
				Active: e.active, Said: e.said, Acknowledged: e.acked, Pending: e.pending}
			if left := e.shelved - now.Mono; e.shelved > 0 && left > 0 {
				kept.ShelvedFor, kept.ShelvedUntil, kept.ShelvedBy = left, now.Wall.Add(left), e.shelvedBy
			}
			out = append(out, kept)
		}
	}
	return out
}

// Restore takes in what an earlier run kept, before the first tick. An alarm that
// was raised stays raised until its condition was gone for its delay, so that a
// restart neither tells it again nor loses that somebody saw it. What is out of
// service stays so for no longer than was asked for, whatever the clock says
// today. Kinds this program does not know are left out.
func (b *Book) Restore(now garden.Moment, kept []Kept) {
	for _, kp := range kept {
		k, known := Named(kp.Kind)
		if !known || b.at[Cause{k, kp.Subject}] != nil {
			continue
		}
		e := b.entry(now, Cause{k, kp.Subject})
		if e == nil {
			b.lost++
			continue
		}
		e.text, e.active, e.said, e.acked, e.pending = kp.Text, kp.Active, kp.Said, kp.Acknowledged, kp.Pending
		e.holds = kp.Active
		e.since = garden.Moment{Wall: kp.Since, Mono: now.Mono}
		if ago := now.Wall.Sub(kp.Since); now.Synced && ago > 0 {
			e.since.Mono -= ago
		}
		if kp.ShelvedFor > 0 {
			left := min(kp.ShelvedFor, MostShelved)
			if now.Synced {
				left = min(left, kp.ShelvedUntil.Sub(now.Wall))
			}
			if left > 0 {
				e.shelved, e.shelvedFor, e.shelvedBy = now.Mono+left, left, kp.ShelvedBy
			} else if e.active {
				// It came back while nobody was running: the next Step says so.
				e.shelved = 1
			}
		}
	}
	b.forget()
}

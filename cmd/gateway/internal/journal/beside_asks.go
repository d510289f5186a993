package journal

import (
	"errors"
	"slices"
	"time"

	"fabricpot/control/garden"
)

// besideAsk is what a person asked for that outlives a restart.
type besideAsk struct {
	At   garden.Moment  `json:"at"`
	Kind garden.AskKind `json:"kind"`
	Zone garden.ZoneID  `json:"zone,omitempty"`
	// Until is civil time, zero but for a zone that is to be kept shut.
	Until time.Time `json:"until,omitzero"`
	Who   string    `json:"who,omitempty"`
}

func (a *besideAsk) ask() garden.Ask {
	return garden.Ask{Kind: a.Kind, Zone: a.Zone, Until: garden.Moment{Wall: a.Until}, Who: a.Who}
}

// besideAsks bounds how many requests are remembered.
const besideAsks = 256

// Outlives tells that a request of that kind holds over restarts, or ends one that does.
func Outlives(k garden.AskKind) bool {
	switch k {
	case garden.AskAutoOff, garden.AskAutoOn, garden.AskShut, garden.AskRelease:
		return true
	}
	return false
}

// Ask remembers a request that the journal could not keep, where it is one that
// outlives a restart.
func (b *Beside) Ask(at garden.Moment, a garden.Ask) error {
	if b == nil || !Outlives(a.Kind) {
		return nil
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.Asks = append(b.Asks, besideAsk{At: at, Kind: a.Kind, Zone: a.Zone, Until: a.Until.Wall, Who: a.Who})
	if len(b.Asks) > besideAsks {
		b.Asks = unsuperseded(b.Asks)
		b.Asks = b.Asks[max(0, len(b.Asks)-besideAsks):]
	}
	b.stale = true
	return b.save()
}

// unsuperseded is the requests without those that a later one makes void.
func unsuperseded(asks []besideAsk) []besideAsk {
	var left []besideAsk
	for i, a := range asks {
		if !slices.ContainsFunc(asks[i+1:], func(later besideAsk) bool { return later.supersedes(&a) }) {
			left = append(left, a)
		}
	}
	return left
}

// supersedes tells that an earlier request means nothing after this one.
func (a *besideAsk) supersedes(earlier *besideAsk) bool {
	auto := func(k garden.AskKind) bool { return k == garden.AskAutoOff || k == garden.AskAutoOn }
	if auto(a.Kind) || auto(earlier.Kind) {
		return auto(a.Kind) && auto(earlier.Kind)
	}
	// No zone releases each.
	return a.Zone == earlier.Zone || a.Kind == garden.AskRelease && a.Zone == ""
}

// Carry gives the requests to keep, oldest first, and forgets those that it took. The
// rest stays, for another time. While the file can't forget them it fails each time.
func (b *Beside) Carry(keep func(garden.Moment, garden.Ask) error) error {
	if b == nil {
		return nil
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	for n := range b.Asks {
		if err := keep(b.Asks[n].At, b.Asks[n].ask()); err != nil {
			b.Asks, b.stale = slices.Delete(b.Asks, 0, n), b.stale || n > 0
			return errors.Join(err, b.refresh())
		}
	}
	b.Asks, b.stale = nil, b.stale || len(b.Asks) > 0
	return b.refresh()
}

// refresh saves where the file may hold other requests: the next start would take
// them for the newest.
func (b *Beside) refresh() error {
	if !b.stale {
		return nil
	}
	return b.save()
}

// Standing is what a journal has of standing requests with those remembered here,
// which are later.
func (b *Beside) Standing(kept []garden.Ask, now time.Time) []garden.Ask {
	if b == nil {
		return kept
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(b.Asks) == 0 {
		return kept
	}
	var s standing
	for _, a := range kept {
		s.add(a)
	}
	for i := range b.Asks {
		a := b.Asks[i].ask()
		a.Until.Mono = a.Until.Wall.Sub(b.Asks[i].At.Wall)
		s.add(a)
	}
	return s.by(now)
}

package valve

import (
	"context"
	"time"

	"fabricpot/control/garden"
	"fabricpot/mqtt"
)

// Trouble is what is wrong with a remote valve.
type Trouble uint8

const (
	// NoTrouble: it does what it was told.
	NoTrouble Trouble = iota
	// Offline: there is no connection to the broker.
	Offline
	// Lost: the broker says that the node has gone.
	Lost
	// Silent: the node has said nothing for minutes.
	Silent
	// NoAnswer: an open command was not obeyed in time.
	NoAnswer
	// NotClosing: a close command was not confirmed in time.
	NotClosing
	// OpenUnasked: it is open and should be closed.
	OpenUnasked
	// WrongOrder: it is open for an order that is not ours.
	WrongOrder
	// ClosedEarly: it closed by itself before its time.
	ClosedEarly
	// Unreadable: what it says cannot be understood.
	Unreadable
)

var troubles = [...]string{
	NoTrouble:   "",
	Offline:     "cannot be reached: no connection to the broker",
	Lost:        "cannot be reached: its node has gone from the broker; it closes by its own time limit. Check the node's power and network",
	Silent:      "its node has said nothing for three minutes. Check the node's power and network",
	NoAnswer:    "was told to open and does not answer. Check the node",
	NotClosing:  "was told to close and does not confirm it. Close the hand valve and look",
	OpenUnasked: "is open and nobody asked for it. Close the hand valve and look",
	WrongOrder:  "is open for an order of somebody else: are two gateways using one site name?",
	ClosedEarly: "closed by itself before its time",
	Unreadable:  "says something that cannot be understood. Check the node's firmware",
}

func (t Trouble) String() string {
	if int(t) < len(troubles) {
		return troubles[t]
	}
	return "unknown trouble"
}

// Trouble returns the gravest thing wrong at this moment.
func (v *Valve) Trouble() Trouble {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.follow()
	now := v.clock().Mono
	_, up := v.link.Epoch()
	switch {
	case v.stranger && !v.confirmed:
		return OpenUnasked
	case v.mixed:
		return WrongOrder
	case !up:
		return Offline
	case v.lost:
		return Lost
	case v.malformed != "":
		return Unreadable
	case !v.open && v.wantedAt != 0 && !v.confirmed && now-v.wantedAt > answerWithin:
		return NotClosing
	case v.open && !v.confirmed && now-v.wantedAt > answerWithin:
		return NoAnswer
	case v.plain == nil && v.confirmed && now-v.heardAt > silentAfter:
		return Silent
	case v.early:
		return ClosedEarly
	}
	return NoTrouble
}

// Set is the remote valves of a garden.
type Set struct {
	valves  []*Valve
	byTopic map[string][]*Valve
}

// NewSet groups valves for Run. Two valves may not share a state topic with
// different lines and both obey; the garden file's check sees to that.
func NewSet(vs ...*Valve) *Set {
	s := &Set{valves: vs, byTopic: make(map[string][]*Valve)}
	for _, v := range vs {
		s.byTopic[v.state] = append(s.byTopic[v.state], v)
	}
	return s
}

// Subscribe declares the inboxes the set needs.
func (s *Set) Subscribe(l *mqtt.Link) ([]*mqtt.Inbox, error) {
	var out []*mqtt.Inbox
	for name := range s.byTopic {
		in, err := l.Subscribe(name, 1, 32)
		if err != nil {
			return nil, err
		}
		out = append(out, in)
	}
	return out, nil
}

// Run reads one inbox until the context ends. Start one for each inbox.
func (s *Set) Run(ctx context.Context, in *mqtt.Inbox) {
	for {
		select {
		case <-ctx.Done():
			return
		case m := <-in.C():
			for _, v := range s.byTopic[m.Topic] {
				_ = v.Take(m) // Trouble tells
			}
		}
	}
}

// Keep repeats unconfirmed closes until the context ends.
func (s *Set) Keep(ctx context.Context) {
	t := time.NewTicker(250 * time.Millisecond)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-t.C:
			for _, v := range s.valves {
				v.Tick()
			}
		}
	}
}

// Troubles lists the valves with something wrong.
func (s *Set) Troubles() map[garden.LineID]Trouble {
	out := make(map[garden.LineID]Trouble)
	for _, v := range s.valves {
		if t := v.Trouble(); t != NoTrouble {
			out[v.line] = t
		}
	}
	return out
}

package season

import (
	"slices"

	"fabricpot/control"
	"fabricpot/control/alarm"
	"fabricpot/control/garden"
)

// ears hear everything a loop tells.
type ears struct {
	ended   []garden.Delivery
	changes []alarm.Change
}

func newEars() *ears { return &ears{} }

func (e *ears) Opened(garden.Moment, garden.Order)                  {}
func (e *ears) Ended(d garden.Delivery)                             { e.ended = append(e.ended, d) }
func (e *ears) Refused(garden.Moment, garden.Order, garden.Refusal) {}
func (e *ears) Noticed(control.Event)                               {}
func (e *ears) Alarmed(c alarm.Change)                              { e.changes = append(e.changes, c) }
func (e *ears) Failed(garden.Moment, string, error)                 {}

// raised lists the alarms of these kinds that went up, over those that went.
func (e *ears) raised(kinds ...alarm.Kind) []alarm.Change { return e.heard(alarm.Raised, kinds) }
func (e *ears) over(kinds ...alarm.Kind) []alarm.Change   { return e.heard(alarm.Cleared, kinds) }

func (e *ears) heard(what alarm.Event, kinds []alarm.Kind) []alarm.Change {
	var out []alarm.Change
	for _, c := range e.changes {
		if c.Event == what && slices.Contains(kinds, c.Kind) {
			out = append(out, c)
		}
	}
	return out
}

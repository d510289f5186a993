package runner

import (
	"fabricpot/control"
	"fabricpot/control/alarm"
	"fabricpot/control/garden"
)

// Tellers tells several, in order.
type Tellers []Teller

// Opened tells of an order that opened its line.
func (ts Tellers) Opened(now garden.Moment, o garden.Order) {
	for _, t := range ts {
		t.Opened(now, o)
	}
}

// Ended tells what a pulse came to.
func (ts Tellers) Ended(d garden.Delivery) {
	for _, t := range ts {
		t.Ended(d)
	}
}

// Refused tells of an order that opened nothing.
func (ts Tellers) Refused(now garden.Moment, o garden.Order, r garden.Refusal) {
	for _, t := range ts {
		t.Refused(now, o, r)
	}
}

// Noticed tells what the controller noticed.
func (ts Tellers) Noticed(e control.Event) {
	for _, t := range ts {
		t.Noticed(e)
	}
}

// Alarmed tells a step of an alarm's life.
func (ts Tellers) Alarmed(c alarm.Change) {
	for _, t := range ts {
		t.Alarmed(c)
	}
}

// Failed tells of something that went wrong and did not stop the loop.
func (ts Tellers) Failed(now garden.Moment, what string, err error) {
	for _, t := range ts {
		t.Failed(now, what, err)
	}
}

var _ Teller = Tellers(nil)

package runner

import (
	"fabricpot/control"
	"fabricpot/control/alarm"
	"fabricpot/control/garden"
)

// nothingKept is the journal of a loop without one.
type nothingKept struct{}

func (nothingKept) Intend(garden.Order, float64, garden.Moment) error { return nil }
func (nothingKept) Raise(garden.OrderID, float64) error               { return nil }
func (nothingKept) Settle(garden.Delivery) error                      { return nil }
func (nothingKept) Samples(garden.Moment, []garden.Reading, []control.ZoneView) error {
	return nil
}
func (nothingKept) Decided(garden.Moment, garden.Order, garden.RefusalCause, string) error {
	return nil
}
func (nothingKept) Asked(garden.Moment, garden.Ask) error { return nil }
func (nothingKept) Alarmed(alarm.Change) error            { return nil }

// nobody is told nothing.
type nobody struct{}

func (nobody) Opened(garden.Moment, garden.Order)                  {}
func (nobody) Ended(garden.Delivery)                               {}
func (nobody) Refused(garden.Moment, garden.Order, garden.Refusal) {}
func (nobody) Noticed(control.Event)                               {}
func (nobody) Alarmed(alarm.Change)                                {}
func (nobody) Failed(garden.Moment, string, error)                 {}

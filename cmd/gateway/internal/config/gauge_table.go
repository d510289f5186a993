package config

import (
	"time"

	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control/garden"
)

// contactFields are the keys of a contact at a GPIO line.
func contactFields() []field[*garden.Contact] {
	return []field[*garden.Contact]{
		{"pin", "the number of the GPIO line its contact is wired to", false, of(whole("a pin number", 0, 1023), func(c *garden.Contact) *int { return &c.Pin })},
		{"chip", "the label of its GPIO chip, if not the hardware's", false, of(line("a chip's label"), func(c *garden.Contact) *string { return &c.Chip })},
		{"contact", "what it ties the pin to when it closes", false, of(choice("an end of the contact", garden.ToGround, garden.ToSupply), func(c *garden.Contact) *garden.ContactTo { return &c.To })},
		{"pull", "who holds the pin while it is open: the chip's own resistor, or one of yours", false, of(choice("a resistor", garden.BoardPull, garden.OutsidePull), func(c *garden.Contact) *garden.ContactPull { return &c.Pull })},
		{"debounce", "how long a level must last to count", false, of(span(0, 10*time.Second), func(c *garden.Contact) *time.Duration { return &c.Debounce })},
	}
}

// meterKind is "450 pulses/L", or the same with where the meter is wired.
func meterKind() kind[*garden.Supply] {
	constant := maybe(quantity(units.PulseRate(), 0.01, 100000), func(s *garden.Supply) *garden.Measured { return &s.MeterPulsesPerL })
	fields := append([]field[*garden.Supply]{{"constant", "its pulses per litre", true, constant}},
		lift(contactFields(), func(s *garden.Supply) *garden.Contact { return &s.Meter })...)
	return either(constant, kind[*garden.Supply](object[*garden.Supply]{"a flow meter", fields}))
}

// gaugeFields are the supply's keys for what watches and drives the water.
func gaugeFields() []field[*garden.Supply] {
	return []field[*garden.Supply]{
		{"meter", "pulses of a flow meter before all lines", false, meterKind()},
		{"float", "a switch in the tank whose contact is closed while there is water", false, in(object[*garden.Contact]{"a float", contactFields()}, func(s *garden.Supply) *garden.Contact { return &s.Float })},
		{"pump", "the pump that feeds the lines; absent where water runs by itself", false, in(pumpTable(), func(s *garden.Supply) *garden.Pump { return &s.Pump })},
	}
}

func pumpTable() object[*garden.Pump] {
	return object[*garden.Pump]{"a pump", []field[*garden.Pump]{
		{"pin", "the number of the GPIO line that runs it", true, of(whole("a pin number", 0, 1023), func(p *garden.Pump) *int { return &p.Pin })},
		{"chip", "the label of its GPIO chip, if not the hardware's", false, of(line("a chip's label"), func(p *garden.Pump) *string { return &p.Chip })},
		{"active-low", "yes where a low level runs it", false, of(yesNo(), func(p *garden.Pump) *bool { return &p.ActiveLow })},
		{"flow-within", "how long it may run while the meter counts nothing; reckoned if absent and there is a meter", false, of(span(2*time.Second, 10*time.Minute), func(p *garden.Pump) *time.Duration { return &p.FlowWithin })},
		{"longest-run", "the longest it may run without a stop", false, of(span(time.Minute, 6*time.Hour), func(p *garden.Pump) *time.Duration { return &p.MaxRun })},
	}}
}

func rainTable() object[*garden.RainBucket] {
	return object[*garden.RainBucket]{"a rain gauge", append([]field[*garden.RainBucket]{
		{"per-tip", "the rain that one tip of its bucket stands for", true, of(quantity(units.Rainfall(), 0.01, 10), func(b *garden.RainBucket) *float64 { return &b.MMPerTip })},
	}, lift(contactFields(), func(b *garden.RainBucket) *garden.Contact { return &b.Contact })...)}
}

// newContact is one that says nothing of its wiring.
func newContact(debounce time.Duration) garden.Contact {
	return garden.Contact{To: garden.ToGround, Pull: garden.BoardPull, Debounce: debounce}
}

// newSupply holds the defaults of its gauges and its pump: a reed's bounces are
// told by when they come, a float's by how long they last.
func newSupply() garden.Supply {
	return garden.Supply{
		Meter: newContact(0), Float: newContact(500 * time.Millisecond), Pump: garden.Pump{MaxRun: 30 * time.Minute},
	}
}

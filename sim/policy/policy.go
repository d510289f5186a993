package policy

import (
	"time"

	"fabricpot/control/garden"
)

// Policy decides what to water. Step is called at every tick, in order of time.
type Policy interface {
	Step(s *Sight, out *Orders)
}

// Sight is what a policy may see at a tick. Its slices are the caller's.
type Sight struct {
	Now garden.Moment
	// Readings are the probes' in garden.ProbeList order, where somebody reads
	// them.
	Readings []garden.Reading
	// RainMM fell since the last tick, as a rain sensor says.
	RainMM float64
	// DrainedL is what has come out under each zone since the beginning, for
	// those who look.
	DrainedL []float64
	// HungHours is how many hours each zone's plants have hung since the
	// beginning, for those who look.
	HungHours []float64
	// Delivered and Refused are what became of orders since the last tick.
	Delivered []garden.Delivery
	Refused   []garden.Refusal
}

// Orders are what a policy wants done now.
type Orders struct {
	// Water opens lines; the caller numbers the orders.
	Water []garden.Order
	// Stop shuts lines early.
	Stop []garden.LineID
	// Pour is poured by hand.
	Pour []Pour
}

// Reset empties the orders and keeps their room.
func (o *Orders) Reset() { o.Water, o.Stop, o.Pour = o.Water[:0], o.Stop[:0], o.Pour[:0] }

// Pour is a can of water into a zone, or of feed with NMgL of nitrogen in it.
type Pour struct {
	Zone         int
	Litres, NMgL float64
}

// Names of the policies, in the order in which tables list them.
const (
	HottestWeek = "timer, hottest week"
	MeanWeek    = "timer, mean week"
	RainStop    = "timer with rain stop"
	Monthly     = "timer, monthly"
	MonthlyBook = "timer, monthly by tables"
	OneSwitch   = "moisture switch"
	ByHand      = "by hand"
	Careful     = "careful grower"
	Gateway     = "the gateway"
	Ideal       = "ideal by ledger"
)

// Names lists them all.
func Names() []string {
	return []string{HottestWeek, MeanWeek, RainStop, Monthly, MonthlyBook, OneSwitch, ByHand, Careful, Gateway, Ideal}
}

// New makes a rival by its name; false for the gateway and the ideal, which are
// none, and for unknown names.
func New(name string, f Facts) (Policy, bool) {
	switch name {
	case HottestWeek:
		return newTimer(f, always(f.hottestWeek()), 0), true
	case MeanWeek:
		return newTimer(f, always(f.meanDays()), 0), true
	case RainStop:
		return newTimer(f, always(f.hottestWeek()), rainStopMM), true
	case Monthly:
		return newTimer(f, f.monthOf, 0), true
	case MonthlyBook:
		return newTimer(f, f.byTables().monthOf, 0), true
	case OneSwitch:
		return newMoistureSwitch(f), true
	case ByHand:
		return newCan(f), true
	case Careful:
		return newGrower(f), true
	}
	return nil, false
}

// always is one setting for every day.
func always(set []time.Duration) func(int) []time.Duration {
	return func(int) []time.Duration { return set }
}

// Probes tells whether a policy reads probes, and so ticks as often as they are
// read.
func Probes(p Policy) bool {
	_, yes := bare(p).(*moistureSwitch)
	return yes
}

// midnight of the day of t.
func midnight(t time.Time) time.Time {
	y, m, d := t.Date()
	return time.Date(y, m, d, 0, 0, 0, 0, t.Location())
}

// dayNumber counts civil days, whatever daylight saving does.
func dayNumber(t time.Time) int {
	y, m, d := t.Date()
	return int(time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Unix() / 86400)
}

// bare is the policy without who feeds beside it.
func bare(p Policy) Policy {
	if f, ok := p.(*fed); ok {
		return f.Policy
	}
	return p
}

// Person tells whether a policy is a person, who needs no power.
func Person(p Policy) bool {
	switch bare(p).(type) {
	case *can, *grower:
		return true
	}
	return false
}

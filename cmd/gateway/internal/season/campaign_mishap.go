package season

import (
	"time"

	"fabricpot/control/alarm"
	"fabricpot/control/garden"
	"fabricpot/sim/bench"
)

// MishapKind is one thing that goes wrong in a campaign.
type MishapKind string

// Mishap is one of them, at one pot, at one time.
type Mishap struct {
	Kind MishapKind    `json:"kind"`
	Pot  int           `json:"pot"`
	At   time.Duration `json:"at_ns"`
	// For is how long it lasts; 0 is for ever.
	For time.Duration `json:"for_ns,omitempty"`
	// Towards is the direction of a drift or a jump, -1 or 1.
	Towards float64 `json:"towards"`
}

// scene is what a mishap can reach.
type scene struct {
	c    *course
	b    *Bench // the present life
	book *memBook
	line garden.LineID
	zone int
	in   []*bench.Input // the pot's probes
}

// mishapType is what is known of a kind: what it does, what ends it, and what is
// promised about it.
type mishapType struct {
	kind  MishapKind
	begin func(*scene, Mishap)
	end   func(*scene)
	// prepare shapes the script, such as a tank for an empty tank.
	prepare func(*Script, *Mishap)
	// lasts is how long it lasts where the script does not say.
	lasts time.Duration
	// alarms are those of which one must rise within the time, counted from its
	// beginning, or with flowing from the first opening of its line after it. Without
	// flowing the time of FlowWithoutOrder stands still while any line is open.
	// With needsMeter that is promised only to gardens that have one.
	alarms     []alarm.Kind
	within     time.Duration
	flowing    bool
	needsMeter bool
	// shows, where given, is when what happened can be told, from which the time
	// counts; where it is negative nothing is promised.
	shows func(*course, Mishap) time.Duration
	// withoutWater tells that its pot, or with everyPot all, can't be watered.
	withoutWater, everyPot bool
	// Safe and Recovery are what the gateway does meanwhile and what ends it.
	Safe, Recovery string
}

func inputs(f bench.InputFault, amount float64) (func(*scene, Mishap), func(*scene)) {
	return func(s *scene, m Mishap) {
			for _, in := range s.in {
				in.Fail(f, amount*sign(f, m))
			}
		}, func(s *scene) {
			for _, in := range s.in {
				in.Fail(bench.Healthy, 0)
			}
		}
}

// sign turns a drift's direction; other amounts have none.
func sign(f bench.InputFault, m Mishap) float64 {
	if f == bench.Drifting && m.Towards < 0 {
		return -1
	}
	return 1
}

func probeMishap(kind MishapKind, f bench.InputFault, amount float64, within time.Duration, alarms ...alarm.Kind) mishapType {
	begin, end := inputs(f, amount)
	return mishapType{kind: kind, begin: begin, end: end, alarms: alarms, within: within,
		Safe: "watered by its water balance, no more than its budget", Recovery: "by itself when readings are good again"}
}

// believed is a probe that lies too well to be found out by itself.
func believed(d mishapType) mishapType {
	d.Safe, d.Recovery = "watered as it reads until that can't be right, then by its water balance", "none needed"
	return d
}

const asBefore = "watered as before"

// ordinary are those of one part that fails.
var ordinary = []mishapType{
	probeMishap("probe open", bench.Open, 0, 15*time.Minute, alarm.ProbeDead),
	probeMishap("probe short", bench.Short, 0, 15*time.Minute, alarm.ProbeDead),
	probeMishap("water in the plug", bench.WetPlug, 0.25, 45*time.Minute, alarm.ProbeDoubtful, alarm.ProbeDead),
	// Half the signal left looks like a wet pot for a long time: nothing is
	// promised but that the plants live.
	believed(probeMishap("damp in the plug", bench.WetPlug, 0.5, 0)),
	probeMishap("probe stuck", bench.Stuck, 0, 24*time.Hour, alarm.ProbeDoubtful),
	believed(probeMishap("probe drifts", bench.Drifting, 0.004, 0)),
	probeMishap("probe noisy", bench.NoisyInput, 0.4, 4*time.Hour, alarm.ProbeDoubtful),
	probeMishap("probe out of the mix", bench.OutOfMix, 0, 45*time.Minute, alarm.ProbeDoubtful, alarm.ProbeDead),
	{kind: "converter gone", begin: func(s *scene, _ Mishap) { s.chip(func(c *bench.Chip) { c.SetAbsent(true) }) },
		end:    func(s *scene) { s.chip(func(c *bench.Chip) { c.SetAbsent(false) }) },
		alarms: []alarm.Kind{alarm.ConverterDead}, within: 25 * time.Minute,
		Safe: "watered by its water balance, no more than its budget", Recovery: "by itself when it answers again"},
	{kind: "bus stuck", begin: func(s *scene, _ Mishap) { s.b.Wires.BusNamed("").SetStuck(true) },
		end:    func(s *scene) { s.b.Wires.BusNamed("").SetStuck(false) },
		alarms: []alarm.Kind{alarm.BusDead, alarm.ConverterDead}, within: 25 * time.Minute,
		Safe: "watered by its water balance, no more than its budget", Recovery: "by itself when it answers again"},
	{kind: "converter browns out", begin: func(s *scene, m Mishap) {
		s.chip((*bench.Chip).BrownOut)
	}, Safe: asBefore, Recovery: "set up again at the next reading"},
	{kind: "no acknowledge once", begin: func(s *scene, _ Mishap) { s.b.Wires.BusNamed("").FailStep(7) }, Safe: asBefore, Recovery: "at the next reading"},
	{kind: "converter slow", begin: func(s *scene, _ Mishap) { s.chip(func(c *bench.Chip) { c.SlowBy(0.1) }) },
		end: func(s *scene) { s.chip(func(c *bench.Chip) { c.SlowBy(0) }) }, Safe: asBefore, Recovery: "none needed"},
	{kind: "valve does not open", begin: func(s *scene, _ Mishap) { s.b.Wires.Pin(s.line).Fail(bench.ValveStaysShut) },
		end:    func(s *scene) { s.b.Wires.Pin(s.line).Fail(bench.PinHealthy) },
		alarms: []alarm.Kind{alarm.OrderWithoutFlow}, within: 2 * time.Hour, flowing: true, needsMeter: true, withoutWater: true,
		Safe: "goes on trying within the day's limit; the list of work asks for cans", Recovery: "the next pulse that flows"},
	{kind: "valve does not close", begin: func(s *scene, _ Mishap) { s.b.Wires.Pin(s.line).Fail(bench.ValveStaysOpen) },
		end: func(s *scene) { s.b.Wires.Pin(s.line).Fail(bench.PinHealthy) }, prepare: unpumped,
		alarms: []alarm.Kind{alarm.FlowWithoutOrder}, within: 30 * time.Minute, needsMeter: true,
		Safe: "nothing more is ordered while the pot is wet; only a hand valve helps", Recovery: "half an hour after the last stray litre"},
	{kind: "valve leaks", begin: func(s *scene, _ Mishap) { s.b.Terrace.LeakValve(s.line, 2) }, end: func(s *scene) { s.b.Terrace.LeakValve(s.line, 0) }, prepare: unpumped,
		alarms: []alarm.Kind{alarm.FlowWithoutOrder}, within: time.Hour, needsMeter: true,
		Safe: "nothing more is ordered while the pot is wet; only a hand valve helps", Recovery: "half an hour after the last stray litre"},
	{kind: "emitters blocked", begin: func(s *scene, _ Mishap) { s.b.Terrace.BlockEmitters(s.line, s.zone, 1) },
		end:    func(s *scene) { s.b.Terrace.BlockEmitters(s.line, s.zone, 0) },
		alarms: []alarm.Kind{alarm.OrderWithoutFlow}, within: 2 * time.Hour, flowing: true, needsMeter: true, withoutWater: true,
		Safe: "goes on trying within the day's limit; the list of work asks for cans", Recovery: "the next pulse that flows"},
	{kind: "hose off", begin: func(s *scene, _ Mishap) { s.b.Terrace.HoseOff(s.line, 3) }, end: func(s *scene) { s.b.Terrace.HoseOff(s.line, 0) },
		alarms: []alarm.Kind{alarm.FlowTooHigh}, within: 2 * time.Hour, flowing: true, needsMeter: true, withoutWater: true,
		prepare: func(s *Script, _ *Mishap) {
			for _, p := range s.Pots {
				s.SupplyL = max(s.SupplyL, float64(8*p.Emitters)) // or the supply itself hides it
			}
		},
		Safe: "pulses end by the meter; the day's limit counts what ran", Recovery: "the next pulse with its usual flow"},
	{kind: "supply gone", begin: func(s *scene, _ Mishap) { s.b.Terrace.CutSupply(true) }, end: func(s *scene) { s.b.Terrace.CutSupply(false) },
		alarms: []alarm.Kind{alarm.SupplyGone, alarm.OrderWithoutFlow}, within: 2 * time.Hour, flowing: true, needsMeter: true, withoutWater: true, everyPot: true,
		Safe: "goes on trying within the day's limit; the list of work asks for cans", Recovery: "the next pulse that flows"},
	{kind: "tank empty", begin: func(s *scene, _ Mishap) { s.b.Terrace.SetTank(2) }, end: func(s *scene) { s.b.Terrace.SetTank(1e6) },
		prepare: func(s *Script, _ *Mishap) { s.TankL, s.Pump = 600, false },
		alarms:  []alarm.Kind{alarm.TankLow}, within: 10 * time.Minute, withoutWater: true, everyPot: true,
		Safe: "nothing is opened under the reserve", Recovery: "by itself when it is filled"},
	{kind: "meter dead", begin: func(s *scene, _ Mishap) { s.b.Terrace.StopMeter(true) }, end: func(s *scene) { s.b.Terrace.StopMeter(false) },
		prepare: func(s *Script, _ *Mishap) { s.Meter = true },
		alarms:  []alarm.Kind{alarm.SupplyGone, alarm.OrderWithoutFlow}, within: 3 * time.Hour, flowing: true, needsMeter: true,
		Safe: "pulses end by their deadline; the day's limit counts nominal flow; a pump is stopped until a float and probes vouch for its water", Recovery: "the next pulse that is counted"},
	{kind: "meter counts noise", begin: func(s *scene, _ Mishap) { s.book.noise(40) }, end: func(s *scene) { s.book.noise(0) },
		prepare: func(s *Script, _ *Mishap) { s.Meter = true }, Safe: asBefore, Recovery: "none needed"},
	{kind: "meter does not answer", begin: func(s *scene, _ Mishap) { s.book.deaf(true) }, end: func(s *scene) { s.book.deaf(false) },
		prepare: func(s *Script, _ *Mishap) { s.Meter = true },
		alarms:  []alarm.Kind{alarm.GaugeDoubtful}, within: 10 * time.Minute, needsMeter: true,
		Safe: "pulses end by nominal flow; a pump goes by its float after three tries, as long as probes answer", Recovery: "by itself when it answers"},
	{kind: "pin fails", begin: func(s *scene, _ Mishap) { s.b.Wires.Pin(s.line).Fail(bench.PinFails) },
		end:     func(s *scene) { s.b.Wires.Pin(s.line).Fail(bench.PinHealthy) },
		prepare: func(s *Script, m *Mishap) { s.Pots[m.Pot].Remote, s.Pots[m.Pot].Latch = false, false },
		alarms:  []alarm.Kind{alarm.NotClosed, alarm.LineFaulted}, within: 10 * time.Minute, flowing: true, withoutWater: true,
		Safe: "the close is repeated; the line opens no more; where it leaves no room, others water one at a time after half an hour", Recovery: "by itself when a close is confirmed"},
	{kind: "journal can't be written", begin: func(s *scene, _ Mishap) { s.book.broken = true }, end: func(s *scene) { s.book.broken = false },
		alarms: []alarm.Kind{alarm.JournalUnwritable}, within: 15 * time.Minute, // samples are written every ten rounds
		withoutWater: true, everyPot: true,
		Safe: "a few survival doses, then one a day, no feed", Recovery: "by itself when it can be written"},
	clockJump("clock jumps forward", 7*time.Hour),
	clockJump("clock jumps back", -7*time.Hour),
	{kind: "clock lost", begin: func(s *scene, _ Mishap) {
		s.b.skew, s.b.unsynced = time.Unix(0, 0).Sub(s.b.start), true
	}, end: func(s *scene) { s.b.skew, s.b.unsynced = 0, false },
		alarms: []alarm.Kind{alarm.ClockUnconfirmed}, within: 20 * time.Minute,
		Safe: "hours and feed days wait, watering does not", Recovery: "by itself when the time is confirmed"},
	{kind: "frost", begin: func(*scene, Mishap) {}, prepare: func(s *Script, _ *Mishap) { s.Weather, s.Month = "frost", time.March },
		alarms: []alarm.Kind{alarm.Frost}, within: 26 * time.Hour, Safe: "lines lock while it freezes", Recovery: "by itself when it is warmer"},
	{kind: "somebody asks for far too much", begin: func(s *scene, _ Mishap) { s.book.greedy = s.zone }, end: func(s *scene) { s.book.greedy = -1 },
		Safe: "the day's limit holds", Recovery: "none needed"},
	{kind: "card told to be full and back", begin: func(s *scene, _ Mishap) { s.book.flaky = true }, end: func(s *scene) { s.book.flaky = false },
		Safe: asBefore, Recovery: "what waits is written later"},
}

func clockJump(kind MishapKind, by time.Duration) mishapType {
	return mishapType{kind: kind, begin: func(s *scene, _ Mishap) { s.b.skew += by }, end: func(s *scene) { s.b.skew = 0 },
		Safe: "deadlines and rests go on by the monotonic clock", Recovery: "none needed"}
}

// chip does something to the converter of the pot's first probe.
func (s *scene) chip(f func(*bench.Chip)) {
	if c := s.b.Wires.BusNamed("").Chip(0x48); c != nil {
		f(c)
	}
}

// mishapOf is the row of a kind; its kind is empty where there is none.
func mishapOf(kind MishapKind) mishapType {
	for _, d := range mishaps {
		if d.kind == kind {
			return d
		}
	}
	return mishapType{}
}

// MishapKinds lists every kind.
func MishapKinds() []MishapKind {
	out := make([]MishapKind, len(mishaps))
	for i := range mishaps {
		out[i] = mishaps[i].kind
	}
	return out
}

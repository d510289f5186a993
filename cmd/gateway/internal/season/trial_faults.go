package season

import (
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
	"fabricpot/sim/bench"
	"fabricpot/sim/policy"
	"fabricpot/sim/terrace"
	"fabricpot/valves"
)

// faultKind is one thing that goes wrong. Whatever has a place strikes the pot
// that the season's hottest week empties fastest, at five in the morning of that
// week's first day.
type faultKind string

const (
	noFault     faultKind = ""
	probeDead   faultKind = "probe dead"
	probeStuck  faultKind = "probe stuck"
	halfBlocked faultKind = "half the emitters blocked"
	allBlocked  faultKind = "all emitters blocked"
	supplyOff   faultKind = "supply off for a day"
	gatewayOff  faultKind = "power off for six hours"
	brokerAway  faultKind = "broker away for three days"
	readsWet    faultKind = "calibration +0.05"
	readsDry    faultKind = "calibration -0.05"
)

// fault is a kind with what it needs.
type fault struct {
	Kind faultKind
	// water is what calibrations are off by from the beginning, m³/m³.
	water float64
}

func faults() []fault {
	return []fault{{Kind: probeDead}, {Kind: probeStuck}, {Kind: halfBlocked}, {Kind: allBlocked}, {Kind: supplyOff},
		{Kind: gatewayOff}, {Kind: brokerAway}, {Kind: readsWet, water: 0.05}, {Kind: readsDry, water: -0.05}}
}

const faultHour = 5 * time.Hour

// stage is what a fault can strike.
type stage struct {
	clock *bench.Clock
	soil  *terrace.Terrace
	wires *bench.Bench
	dark  func(bool) // power to what decides
	tap   func(dry bool)
}

func (w *trialWorld) faultAt() time.Duration {
	if w.c.Fault.water != 0 {
		return 0
	}
	return w.at(w.ref.hottest, faultHour)
}

// arm has the case's fault happen.
func (w *trialWorld) arm(s stage) {
	if w.c.DriftVPH != 0 {
		for _, p := range w.g.ProbeList() {
			if in, ok := s.wires.Input(p.ID); ok {
				in.Fail(bench.Drifting, w.c.DriftVPH)
			}
		}
	}
	zone := w.ref.weakest
	_, z, ok := w.g.Zone(w.zoneID(zone))
	if !ok {
		return
	}
	at := w.faultAt()
	probes := func(f bench.InputFault) {
		s.clock.At(at, func() {
			for _, p := range z.Probes {
				if in, ok := s.wires.Input(p.ID); ok {
					in.Fail(f, 0)
				}
			}
		})
	}
	span := func(d time.Duration, set func(bool)) {
		s.clock.At(at, func() { s.soil.Advance(at); set(true) })
		s.clock.At(at+d, func() { s.soil.Advance(at + d); set(false) })
	}
	block := func(share float64) {
		s.clock.At(at, func() { s.soil.Advance(at); s.soil.BlockEmitters(z.Line, zone, share) })
	}
	switch w.c.Fault.Kind {
	case probeDead:
		probes(bench.Open)
	case probeStuck:
		probes(bench.Stuck)
	case halfBlocked:
		block(0.5)
	case allBlocked:
		block(1)
	case supplyOff:
		span(24*time.Hour, func(off bool) { s.soil.CutSupply(off); s.tap(off) })
	case gatewayOff:
		span(6*time.Hour, s.dark)
	}
}

// touches tells whether a fault can change what a policy does.
func (f fault) touches(name string) bool {
	switch f.Kind {
	case probeDead, probeStuck:
		return name == policy.Gateway || name == policy.OneSwitch || name == policy.Ideal
	case readsWet, readsDry, brokerAway: // the moisture switch has a probe of its own, by wire
		return name == policy.Gateway || name == policy.Ideal
	case halfBlocked, allBlocked, gatewayOff:
		return name != policy.ByHand && name != policy.Careful
	}
	return true
}

// awayFor is how long the broker is away.
const awayFor = 72 * time.Hour

// awayBroker stands between the gateway and what would come by a broker: the
// weather, and the probes of the pot with the fault. While it is away the probes'
// last word grows stale and no weather comes.
type awayBroker struct {
	noFar
	clock    func() time.Duration
	from, to time.Duration
	zone     garden.ZoneID
	wired    runner.Sampler
	sky      runner.Sky
}

func (a *awayBroker) away() bool { return a.clock() >= a.from && a.clock() < a.to }

func (a *awayBroker) Sampler(g *garden.Garden, wired runner.WiredSampler) (runner.Sampler, error) {
	s, err := a.noFar.Sampler(g, wired)
	a.wired = s
	return a, err
}

func (a *awayBroker) Sample(now garden.Moment, out []garden.Reading) []garden.Reading {
	out = a.wired.Sample(now, out)
	if a.away() {
		for i := range out {
			if r := &out[i]; r.Zone == a.zone {
				*r = garden.Reading{Probe: r.Probe, Zone: r.Zone, At: now, Quality: garden.Bad, Fault: garden.Stale}
			}
		}
	}
	return out
}

func (a *awayBroker) Sky(s runner.Sky) runner.Sky {
	a.sky = s
	return a
}

func (a *awayBroker) Observe(now garden.Moment, obs *garden.Observed) {
	a.sky.Observe(now, obs)
	if a.away() {
		obs.Today, obs.Ahead, obs.Now = garden.DayWeather{}, nil, garden.WeatherNow{}
	}
}

// noFar is a far end with nothing on it: every probe is wired.
type noFar struct{}

func (noFar) Sampler(g *garden.Garden, wired runner.WiredSampler) (runner.Sampler, error) {
	numbers := make([]int, len(g.ProbeList()))
	for i := range numbers {
		numbers[i] = i
	}
	return wired(g, numbers)
}

func (noFar) Valve(garden.LineID) valves.Actuator { return valves.Unassigned{} }
func (noFar) Sky(s runner.Sky) runner.Sky         { return s }
func (noFar) Worries() []runner.Worry             { return nil }

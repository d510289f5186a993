package hub

import (
	"fmt"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
	"fabricpot/mqtt/probe"
	"fabricpot/sensors"
)

// readings is what a table of remote probes tells.
type readings interface {
	Reading(garden.ProbeID, garden.Moment, probe.Convert) garden.Reading
}

// sampler reads wired and remote probes in ProbeList's order. Remote volts and
// counts are judged by the same rules as wired ones; water fractions come as
// the node says them.
type sampler struct {
	from  readings
	clock func() garden.Moment
	wired runner.Sampler   // nil without wired probes
	volts *sensors.Sampler // nil without remote volts
	slots []slot

	wiredOut, voltsOut []garden.Reading
}

// slot is one probe of the garden.
type slot struct {
	id   garden.ProbeID
	zone garden.ZoneID
	kind uint8
	at   int // its place in wiredOut or voltsOut
	// offset is added to what a node says is water.
	offset float64
}

const (
	slotWired uint8 = iota
	slotVolts
	slotWater
)

// newSampler joins the probes. A garden without remote ones gets the wired
// sampler itself.
func newSampler(g *garden.Garden, from readings, clock func() garden.Moment, wired runner.WiredSampler) (runner.Sampler, error) {
	s := &sampler{from: from, clock: clock}
	var numbers []int
	far := 0
	onlyWired := with(g, func(n int, p *garden.Probe) bool {
		sl := slot{id: p.ID, zone: p.Zone}
		switch r := p.Remote; {
		case r == nil:
			sl.at = len(numbers)
			numbers = append(numbers, n)
		case r.Quantity == garden.RemoteCounts || r.Quantity == garden.RemoteVolts:
			sl.kind, sl.at = slotVolts, far
			far++
		default:
			sl.kind, sl.offset = slotWater, p.Calibration.OffsetWater
		}
		s.slots = append(s.slots, sl)
		return p.Remote == nil
	})
	if len(numbers) == len(s.slots) {
		return wired(g, numbers)
	}
	var err error
	if len(numbers) > 0 {
		if s.wired, err = wired(onlyWired, numbers); err != nil {
			return nil, err
		}
	}
	if far > 0 {
		onlyVolts := s.onlyVolts(g)
		// A node sends one value where a converter is asked for a burst, and
		// rounds it as it likes.
		if s.volts, err = sensors.NewSampler(onlyVolts, s.open, sensors.Options{Burst: 1, FlatAfter: -1}); err != nil {
			return nil, fmt.Errorf("remote probes: %w", err)
		}
	}
	return s, nil
}

// onlyVolts is the garden with those remote probes that send volts, each on a
// converter of its own, so that one that is silent silences no other.
func (s *sampler) onlyVolts(g *garden.Garden) *garden.Garden {
	volts := with(g, func(n int, _ *garden.Probe) bool { return s.slots[n].kind == slotVolts })
	return with(volts, func(_ int, p *garden.Probe) bool {
		p.Input, p.Remote = garden.Input{Bus: string(p.ID)}, nil
		return true
	})
}

// Recalibrate checks the calibrations of another version of the garden, with the
// same probes, and returns what takes them over.
func (s *sampler) Recalibrate(g *garden.Garden) (apply func(), err error) {
	probes := g.ProbeList()
	if len(probes) != len(s.slots) {
		return nil, fmt.Errorf("%d probes instead of %d: that takes a restart", len(probes), len(s.slots))
	}
	do := []func(){}
	if w, ok := s.wired.(interface {
		Recalibrate(*garden.Garden) (func(), error)
	}); ok {
		one, err := w.Recalibrate(with(g, func(n int, _ *garden.Probe) bool { return s.slots[n].kind == slotWired }))
		if err != nil {
			return nil, err
		}
		do = append(do, one)
	}
	if s.volts != nil {
		one, err := s.volts.Recalibrate(s.onlyVolts(g))
		if err != nil {
			return nil, fmt.Errorf("remote probes: %w", err)
		}
		do = append(do, one)
	}
	return func() {
		for _, f := range do {
			f()
		}
		for i := range s.slots {
			if s.slots[i].kind == slotWater {
				s.slots[i].offset = probes[i].Calibration.OffsetWater
			}
		}
	}, nil
}

// with returns the garden with those of its probes that keep says yes to; n is
// a probe's number in ProbeList's order. keep may change the copy it is given.
func with(g *garden.Garden, keep func(n int, p *garden.Probe) bool) *garden.Garden {
	out := *g
	out.Pots = append([]garden.Pot(nil), g.Pots...)
	n := 0
	for i := range out.Pots {
		zones := append([]garden.Zone(nil), out.Pots[i].Zones...)
		for k := range zones {
			var probes []garden.Probe
			for _, p := range zones[k].Probes {
				p.Zone = zones[k].ID
				if keep(n, &p) {
					probes = append(probes, p)
				}
				n++
			}
			zones[k].Probes = probes
		}
		out.Pots[i].Zones = zones
	}
	return &out
}

// last is a remote probe as a converter: its last message.
type last struct {
	s  *sampler
	id garden.ProbeID
}

func (s *sampler) open(in garden.Input) (sensors.VoltReader, error) {
	return last{s, garden.ProbeID(in.Bus)}, nil
}

// ReadVolts is the last message, while it is no older than it may be.
func (l last) ReadVolts(int) (garden.Volts, error) {
	r := l.s.from.Reading(l.id, l.s.clock(), asItIs)
	if r.Fault != garden.NoFault {
		return 0, fmt.Errorf("%s: %w", r.Fault, sensors.ErrStale)
	}
	return r.Volts, nil
}

func asItIs(garden.ProbeID, garden.Volts) (garden.WaterFraction, garden.Quality, garden.ReadingFault) {
	return 0, garden.Good, garden.NoFault
}

// Chips tells how the wired converters have been answering.
func (s *sampler) Chips(out []sensors.ChipStats) []sensors.ChipStats {
	if c, ok := s.wired.(runner.Converters); ok {
		return c.Chips(out)
	}
	return out
}

// Sample reads every probe once.
func (s *sampler) Sample(now garden.Moment, out []garden.Reading) []garden.Reading {
	out = out[:0]
	if s.wired != nil {
		s.wiredOut = s.wired.Sample(now, s.wiredOut[:0])
	}
	if s.volts != nil {
		s.voltsOut = s.volts.Sample(now, s.voltsOut[:0])
	}
	here := s.clock()
	for i := range s.slots {
		sl := &s.slots[i]
		if sl.kind == slotWired {
			out = append(out, s.wiredOut[sl.at])
			continue
		}
		r := s.from.Reading(sl.id, here, asItIs)
		r.Probe, r.Zone = sl.id, sl.zone
		// The link's clock need not be the loop's: only ages pass between them.
		r.At = now.Add(-here.Since(r.At))
		switch {
		case r.Fault != garden.NoFault:
		case sl.kind == slotVolts:
			at := r.At
			r = s.voltsOut[sl.at]
			r.At = at
		default:
			r.Water = min(1, max(0, r.Water+garden.WaterFraction(sl.offset)))
		}
		out = append(out, r)
	}
	return out
}

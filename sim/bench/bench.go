package bench

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"time"

	"fabricpot/control/garden"

	"periph.io/x/conn/v3/i2c"
)

// Terrace is what the bench needs of a simulated terrace. Zones are numbered in
// garden.EachZone's order; times count from the terrace's beginning, which is
// the clock's as well.
type Terrace interface {
	// Now is the time up to which the terrace is simulated.
	Now() time.Duration
	// Advance simulates up to a later time with the valves as they are.
	Advance(to time.Duration)
	// SetValve opens or closes a line from Now on.
	SetValve(line garden.LineID, open bool)
	// WaterAt is the water fraction and TempAt the mix temperature in °C, depthCM
	// under the surface of a zone.
	WaterAt(zone int, depthCM float64) float64
	TempAt(zone int, depthCM float64) float64
}

// pumped is a terrace whose lines a pump may feed.
type pumped interface {
	// SetPump runs or stops the pump from Now on.
	SetPump(on bool)
}

// Options choose how imperfect the hardware is. Where a zero means a default, a
// negative number means none.
type Options struct {
	// Seed makes a run repeatable.
	Seed uint64
	// NoiseV is the standard deviation of each conversion, V; 0 means 0.002.
	NoiseV float64
	// OffsetV and Gain are standard deviations of each probe's hidden error
	// against its calibration: an offset in V and a relative gain; 0 means none.
	OffsetV, Gain float64
	// TempVPerC is the standard deviation of each probe's hidden temperature
	// coefficient around 20 °C, V/°C; 0 means 0.0003.
	TempVPerC float64
	// SensingCM is the length a probe averages over; 0 means 6, negative a point.
	SensingCM float64
	// SupplyV feeds chips and probes; 0 means 3.3.
	SupplyV float64
	// Refresh is how far the terrace may lag behind the clock when an input is
	// converted; 0 means a minute.
	Refresh time.Duration
}

func (o Options) withDefaults() Options {
	def := func(v *float64, d float64) {
		if *v == 0 {
			*v = d
		} else if *v < 0 {
			*v = 0
		}
	}
	def(&o.NoiseV, 0.002)
	def(&o.OffsetV, 0)
	def(&o.Gain, 0)
	def(&o.TempVPerC, 0.0003)
	def(&o.SensingCM, 6)
	def(&o.SupplyV, 3.3)
	if o.Refresh <= 0 {
		o.Refresh = time.Minute
	}
	return o
}

// Bench is the virtual hardware of one garden.
type Bench struct {
	clk     *Clock
	terrace Terrace
	opts    Options
	inputs  []*Input // in garden.ProbeList's order
	buses   []*Bus
	pins    []*Pin // in the order of garden.Lines
	doses   []*Pin // of injectors, in the same order; nil where there is none
	pump    *Pin   // nil where there is none
	latches []*Latch
	warm    []thermometer
	iio     []*iioDevice
	taken   bool
}

// ErrTaken is what a program is told that asks for outputs another one holds.
var ErrTaken = errors.New("bench: the outputs are taken by another program")

// Claim takes every output for one program, as a kernel does, until release is
// called. Nothing is driven by it.
func (b *Bench) Claim() (release func(), err error) {
	if b.taken {
		return nil, ErrTaken
	}
	b.taken = true
	return func() { b.taken = false }, nil
}

// New wires a garden's probes and lines to a terrace. Garden and terrace must
// agree on zones and lines. A probe outside an ADS1115's addresses and channels,
// two probes on one input and a calibration that is no curve are errors.
func New(g *garden.Garden, t Terrace, clk *Clock, o Options) (*Bench, error) {
	if g == nil || t == nil || clk == nil {
		return nil, fmt.Errorf("bench: garden, terrace and clock must be given")
	}
	b := &Bench{clk: clk, terrace: t, opts: o.withDefaults()}
	b.bus(g.Hardware.I2CBus)
	zone := -1
	var err error
	g.EachZone(func(p *garden.Pot, z *garden.Zone) {
		zone++
		b.warmOf(p, z, zone)
		for i := range z.Probes {
			if err == nil {
				err = b.wire(g, p, zone, &z.Probes[i])
			}
		}
	})
	if err != nil {
		return nil, err
	}
	for i := range g.Lines {
		valve := &Pin{bench: b, line: g.Lines[i].ID, number: g.Lines[i].Valve.Pin, activeLow: g.Lines[i].Valve.ActiveLow}
		b.pins = append(b.pins, valve)
		if g.Lines[i].Valve.Latch != nil {
			b.latches = append(b.latches, b.newLatch(valve, g.Lines[i].Valve, i))
		}
		var dose *Pin
		if inj := g.Lines[i].Injector; inj.Switched {
			dose = &Pin{bench: b, line: g.Lines[i].ID, number: inj.Pin, activeLow: inj.ActiveLow, doses: true}
		}
		b.doses = append(b.doses, dose)
	}
	if p := g.Supply.Pump; p.Fitted {
		b.pump = &Pin{bench: b, line: "pump", number: p.Pin, activeLow: p.ActiveLow, pumps: true}
	}
	return b, nil
}

func (b *Bench) wire(g *garden.Garden, p *garden.Pot, zone int, pr *garden.Probe) error {
	at := pr.Input
	kernel, byKernel := at.Kernel()
	if !byKernel && (at.Addr < firstAddr || at.Addr >= firstAddr+maxChips || at.Channel < 0 || at.Channel > 3) {
		return fmt.Errorf("bench: probe %s: input %#x channel %d, expected 0x48 to 0x4b and channel 0 to 3", pr.ID, at.Addr, at.Channel)
	}
	curve, err := invert(g.CalibrationFor(p, pr))
	if err != nil {
		return fmt.Errorf("bench: probe %s: %w", pr.ID, err)
	}
	// A stream of its own for each probe, so that reading one more probe or
	// sampling one more often leaves the others' noise as it was.
	rng := rand.New(rand.NewPCG(b.opts.Seed, 0x5eed_0000+uint64(len(b.inputs))))
	in := &Input{
		bench: b, probe: pr.ID, zone: zone, curve: curve, rng: rng,
		offset: b.opts.OffsetV * rng.NormFloat64(),
		gain:   1 + b.opts.Gain*rng.NormFloat64(),
		tempV:  b.opts.TempVPerC * rng.NormFloat64(),
		noise:  b.opts.NoiseV,
		seenAt: -1,
	}
	in.place(pr.DepthCM, p.Shape.HeightCM, b.opts.SensingCM)
	if byKernel {
		d := b.iioDevice(kernel)
		if other := d.in[at.Channel]; other != nil {
			return fmt.Errorf("bench: probes %s and %s share channel %d of %s", other.probe, pr.ID, at.Channel, kernel)
		}
		d.in[at.Channel] = in
		b.inputs = append(b.inputs, in)
		return nil
	}
	bus := b.bus(at.Bus)
	c := bus.chips[at.Addr-firstAddr]
	if c == nil {
		c = newChip(b.clk, at.Addr, b.opts.SupplyV)
		bus.chips[at.Addr-firstAddr] = c
	}
	if c.in[at.Channel] != nil {
		return fmt.Errorf("bench: probes %s and %s share input %#x channel %d", c.in[at.Channel].probe, pr.ID, at.Addr, at.Channel)
	}
	c.in[at.Channel] = in
	b.inputs = append(b.inputs, in)
	return nil
}

// bus returns the bus of that name, making it if need be; the empty name is the
// first bus.
func (b *Bench) bus(name string) *Bus {
	for i, bus := range b.buses {
		if bus.name == name || name == "" && i == 0 {
			return bus
		}
	}
	bus := &Bus{name: name, clk: b.clk}
	b.buses = append(b.buses, bus)
	return bus
}

// Bus is the first bus, with its converters.
func (b *Bench) Bus() i2c.Bus { return b.buses[0] }

// BusNamed is a bus by the name a probe's Input gives, for drivers and faults. A
// name no probe uses gives a bus on which nobody answers.
func (b *Bench) BusNamed(name string) *Bus { return b.bus(name) }

// Pin is the output that switches a line's valve; its level opens the line's
// emitters. An unknown line's pin returns an error for every level.
func (b *Bench) Pin(line garden.LineID) *Pin {
	for _, p := range b.pins {
		if p.line == line {
			return p
		}
	}
	return &Pin{line: line, broken: fmt.Errorf("bench: the garden has no line %q", line)}
}

// InjectorPin is the output that engages a line's injector; nil where the line
// has none that the gateway can switch. It moves no water: watch it.
func (b *Bench) InjectorPin(line garden.LineID) *Pin {
	for i, p := range b.pins {
		if p.line == line {
			return b.doses[i]
		}
	}
	return nil
}

// PumpPin is the output that runs the pump; nil where there is none. Its valve
// faults are the motor's.
func (b *Bench) PumpPin() *Pin { return b.pump }

// Input is a probe as it is wired, for faults; false for an unknown one.
func (b *Bench) Input(id garden.ProbeID) (*Input, bool) {
	for _, in := range b.inputs {
		if in.probe == id {
			return in, true
		}
	}
	return nil, false
}

// Swap exchanges the places of two probes in their soils, as if their plugs had
// been confused, and reports whether it knows both.
func (b *Bench) Swap(one, other garden.ProbeID) bool {
	a, okA := b.Input(one)
	c, okC := b.Input(other)
	if !okA || !okC {
		return false
	}
	a.zone, c.zone = c.zone, a.zone
	a.depths, c.depths = c.depths, a.depths
	a.curve, c.curve = c.curve, a.curve
	a.offset, c.offset = c.offset, a.offset
	a.gain, c.gain = c.gain, a.gain
	a.tempV, c.tempV = c.tempV, a.tempV
	a.seenAt, c.seenAt = -1, -1
	return true
}

// ProbeTempC is the mix temperature at a probe by its number in
// garden.ProbeList, what a thermometer beside it would say.
func (b *Bench) ProbeTempC(i int) garden.Measured {
	if i < 0 || i >= len(b.inputs) {
		return garden.Measured{}
	}
	in := b.inputs[i]
	return garden.Known(b.terrace.TempAt(in.zone, in.depths[1]))
}

// Advance simulates the terrace up to the clock's time. Call it once per tick,
// before sampling. Each input is looked up at once, and not as it is first converted:
// in a row that is quicker, and comes to the same.
func (b *Bench) Advance() {
	now := b.clk.Now()
	if now <= b.terrace.Now() {
		return
	}
	b.terrace.Advance(now)
	for _, in := range b.inputs {
		in.look()
	}
}

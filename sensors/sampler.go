package sensors

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"fabricpot/control/garden"
)

// ErrStale is what a VoltReader returns (wrapped or not) when the only answer it
// has is older than its limit, such as a remote probe's last message.
var ErrStale = errors.New("the last answer is too old")

// VoltReader is a converter: one conversion of a channel, in volts.
type VoltReader interface {
	ReadVolts(channel int) (garden.Volts, error)
}

// Options are a Sampler's limits. A zero means the default given, so the zero
// value is ready to use.
type Options struct {
	// Burst is how many conversions make one sample, odd, 1 to 31; 0 means the
	// garden's Hardware.Burst, or 5 where that is 0 too.
	Burst int
	// ShortBelowV and OpenAboveV are the rails, V: 0.08 and 3.2, for probes on
	// 3.3 V whose inputs have a pull-up, so that an open one shows.
	ShortBelowV, OpenAboveV float64
	// DryMargin and WetMargin are how far beyond the calibrated span a voltage is
	// still good, as shares of the span: 0.10 and 0.35. The wet one is wide since
	// the usual wet point is drained mix, and the lower half of every drained pot
	// is wetter than that. Judgement, no source.
	DryMargin, WetMargin float64
	// NoisyV is the widest burst, V: a twentieth of the span, 0.02 at least.
	NoisyV float64
	// FlatAfter is how long a value may stay without the slightest movement:
	// 3 h; negative means for ever, for probes that round.
	FlatAfter time.Duration
	// MaxFall and MaxRise are the largest believable change of water between two
	// samples: 0.25 and 0.70. Water can reach a dry spot in a minute, but it
	// can't leave a wet one as fast.
	MaxFall, MaxRise float64
	// HoldFor is how long a probe that stopped answering keeps its last value,
	// as uncertain: three ticks, at least 3 min.
	HoldFor time.Duration
	// TempC gives the mix temperature at a probe by its number; nil means it is
	// not measured.
	TempC func(probe int) garden.Measured
}

const (
	maxBurst = 31
	// burstFailures is how many conversions of a burst may fail before the
	// probe counts as not answering: a glitch on the bus costs nothing.
	burstFailures = 2
	// samplesToRecover is how many plausible samples a reading that was bad
	// needs to be good again.
	samplesToRecover = 3
	// flatSamples keeps a slow tick from calling two equal values a flat line.
	flatSamples = 20
)

// Sampler reads every probe of a garden once per tick.
type Sampler struct {
	// Immutable.
	opts  Options
	burst int
	open  func(garden.Input) (VoltReader, error)

	// Mutable.
	chips  []chip
	probes []probe
	buf    [maxBurst]order
}

// NewSampler prepares a garden's probes; nothing is opened before the first
// Sample, so that a missing chip does not keep the gateway from starting. open
// is called once per converter (Input's bus and address; its channel is that of
// the first probe on it), and again after it failed. A calibration that is no
// curve is an error that names the probe; a probe without any calibration is
// allowed and reads as NoCalibration.
func NewSampler(g *garden.Garden, open func(garden.Input) (VoltReader, error), opts Options) (*Sampler, error) {
	if g == nil || open == nil {
		return nil, errors.New("sensors: garden and open must be given")
	}
	s := &Sampler{open: open, opts: opts}
	if err := s.setDefaults(g); err != nil {
		return nil, fmt.Errorf("sensors: %w", err)
	}
	var errs []error
	g.EachZone(func(p *garden.Pot, z *garden.Zone) {
		for i := range z.Probes {
			pr := &z.Probes[i]
			curve, err := NewCurve(g.CalibrationFor(p, pr))
			if err != nil && !errors.Is(err, ErrNoCalibration) {
				errs = append(errs, fmt.Errorf("sensors: probe %s: %w", pr.ID, err))
			}
			s.probes = append(s.probes, newProbe(*pr, z.ID, s.chipOf(pr.Input), curve, &s.opts))
		}
	})
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	return s, nil
}

func (s *Sampler) setDefaults(g *garden.Garden) error {
	o := &s.opts
	def := func(v *float64, d float64) {
		if *v == 0 {
			*v = d
		}
	}
	if o.Burst == 0 {
		o.Burst = g.Hardware.Burst
	}
	if o.Burst == 0 {
		o.Burst = 5
	}
	def(&o.ShortBelowV, 0.08)
	def(&o.OpenAboveV, 3.2)
	def(&o.DryMargin, 0.10)
	def(&o.WetMargin, 0.35)
	def(&o.MaxFall, 0.25)
	def(&o.MaxRise, 0.70)
	if o.FlatAfter == 0 {
		o.FlatAfter = 3 * time.Hour
	}
	if o.HoldFor == 0 {
		o.HoldFor = max(3*time.Minute, 3*g.SampleEvery)
	}
	s.burst = o.Burst
	if s.burst < 1 || s.burst > maxBurst || s.burst%2 == 0 {
		return fmt.Errorf("burst of %d conversions, expected an odd number from 1 to %d", s.burst, maxBurst)
	}
	for _, v := range []float64{o.ShortBelowV, o.OpenAboveV, o.DryMargin, o.WetMargin, o.NoisyV, o.MaxFall, o.MaxRise} {
		if !garden.Finite(v) || v < 0 {
			return fmt.Errorf("limit %g, expected a finite number that is not negative", v)
		}
	}
	return nil
}

func (s *Sampler) chipOf(in garden.Input) int {
	i := slices.IndexFunc(s.chips, func(c chip) bool { return c.input.Bus == in.Bus && c.input.Addr == in.Addr })
	if i < 0 {
		i = len(s.chips)
		s.chips = append(s.chips, chip{input: in})
	}
	return i
}

// Sample reads every probe and returns one reading for each in
// garden.ProbeList's order, in out's memory where that is large enough. It never
// fails as a whole. In steady state it allocates nothing.
func (s *Sampler) Sample(now garden.Moment, out []garden.Reading) []garden.Reading {
	out = out[:0]
	for i := range s.probes {
		p := &s.probes[i]
		v, spread, err := s.sampleOne(now, p)
		if err != nil {
			p.failures++
			p.lastErr = err
			out = append(out, p.missing(now, errors.Is(err, ErrStale)))
			continue
		}
		p.answers++
		p.lastErr = nil
		var temp garden.Measured
		if s.opts.TempC != nil {
			temp = s.opts.TempC(i)
		}
		// Written and judged where it is to lie, field by field: a reading is large to
		// carry about, and a processor waits where it copies what was just written.
		out = append(out, garden.Reading{})
		r := &out[len(out)-1]
		r.Probe, r.Zone, r.At, r.Volts, r.TempC = p.id, p.zone, now, garden.Volts(v), temp
		p.judge(now, r, spread)
	}
	return out
}

var (
	errChipDown  = errors.New("the converter does not answer")
	errNotFinite = errors.New("the converter gave no finite voltage")
)

// sampleOne is the median of a burst and its spread, V.
func (s *Sampler) sampleOne(now garden.Moment, p *probe) (v, spread float64, err error) {
	c := &s.chips[p.chip]
	if !c.ready(now, s.open) {
		return 0, 0, c.err()
	}
	n, failed := 0, 0
	for n < s.burst {
		volts, err := c.reader.ReadVolts(p.channel)
		c.conversions++
		if err == nil {
			if garden.Finite(float64(volts)) {
				insert(s.buf[:n+1], orderOf(float64(volts)))
				n++
				continue
			}
			err = errNotFinite
		}
		if errors.Is(err, ErrStale) {
			return 0, 0, err
		}
		c.failed++
		failed++
		if failed > burstFailures {
			c.burstFailed(now, err)
			return 0, 0, err
		}
	}
	c.worked(now)
	return s.buf[n/2].value(), width(s.buf[:n]), nil
}

// order is a finite number as a whole one that orders as it does: its bits, of which a
// negative one's but the sign are turned. Processors sort whole numbers without a branch.
type order int64

func orderOf(v float64) order { return order(math.Float64bits(v)).turned() }

func (o order) value() float64 { return math.Float64frombits(uint64(o.turned())) }

func (o order) turned() order { return o ^ order(uint64(o>>63)>>1) }

// insert puts a value into the last place of a slice and keeps the slice sorted. It
// never branches by what noise has made of a value, which no processor foresees.
func insert(sorted []order, v order) {
	last := len(sorted) - 1
	for i, x := range sorted[:last] {
		sorted[i], v = min(x, v), max(x, v)
	}
	sorted[last] = v
}

// width is the range of a sorted burst without its lowest and highest value, so
// that one spike is not noise; a burst under five has none to spare.
func width(sorted []order) float64 {
	n := len(sorted)
	if n < 5 {
		return sorted[n-1].value() - sorted[0].value()
	}
	return sorted[n-2].value() - sorted[1].value()
}

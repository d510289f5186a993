package sensors

import (
	"errors"
	"fmt"
	"math"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// script is a converter whose channels say what the test tells them.
type script struct {
	volts map[int]float64
	err   map[int]error
	// wobble is added and taken away in turn, so that nothing is a flat line.
	wobble float64
	sign   float64
	reads  int
	// glitches fail that many of the next conversions.
	glitches int
}

func (s *script) ReadVolts(ch int) (garden.Volts, error) {
	s.reads++
	if s.glitches > 0 {
		s.glitches--
		return 0, errors.New("glitch")
	}
	if err := s.err[ch]; err != nil {
		return 0, err
	}
	s.sign = -s.sign
	return garden.Volts(s.volts[ch] + s.sign*s.wobble), nil
}

// oneProbe: 2.5 V is 0.05 and 1.4 V is 0.60, so 2 V per unit; margins 0.11 V dry
// and 0.385 V wet, noise limit 0.055 V.
func oneProbe() *garden.Garden {
	return &garden.Garden{
		SampleEvery: time.Minute,
		Mixes: []garden.Mix{{ID: "mix", Calibration: garden.Calibration{Kind: garden.TwoPoint, Points: []garden.CalibrationPoint{
			{Volts: 2.5, Water: 0.05}, {Volts: 1.4, Water: 0.60}}}}},
		Pots: []garden.Pot{{ID: "bean", Mix: "mix", Zones: []garden.Zone{{ID: "bean", Share: 1,
			Probes: []garden.Probe{{ID: "bean", Zone: "bean", DepthCM: 10, Input: garden.Input{Addr: 0x48}}}}}}},
	}
}

// rig samples once a minute.
type rig struct {
	t    *testing.T
	s    *Sampler
	chip *script
	now  garden.Moment
	out  []garden.Reading
}

func newRig(t *testing.T, opts Options) *rig {
	t.Helper()
	r := &rig{t: t, chip: &script{volts: map[int]float64{0: 1.8}, err: map[int]error{}, wobble: 0.001, sign: 1},
		now: garden.Moment{Wall: time.Date(2031, 6, 1, 8, 0, 0, 0, time.UTC)}}
	var err error
	r.s, err = NewSampler(oneProbe(), func(garden.Input) (VoltReader, error) { return r.chip, nil }, opts)
	require.NoError(t, err)
	return r
}

func (r *rig) tick() garden.Reading {
	r.now = r.now.Add(time.Minute)
	r.out = r.s.Sample(r.now, r.out)
	require.Len(r.t, r.out, 1)
	return r.out[0]
}

func (r *rig) at(volts float64) garden.Reading {
	r.chip.volts[0] = volts
	return r.tick()
}

func want(t *testing.T, r garden.Reading, q garden.Quality, f garden.ReadingFault) {
	t.Helper()
	assert.Equal(t, fmt.Sprint(q, ": ", f), fmt.Sprint(r.Quality, ": ", r.Fault), "at %.3f V", float64(r.Volts))
}

func TestAGoodReading(t *testing.T) {
	r := newRig(t, Options{TempC: func(int) garden.Measured { return garden.Known(21) }})
	got := r.tick()
	want(t, got, garden.Good, garden.NoFault)
	assert.InDelta(t, 0.40, float64(got.Water), 0.001)
	assert.InDelta(t, 1.8, float64(got.Volts), 0.0011)
	assert.Equal(t, garden.ProbeID("bean"), got.Probe)
	assert.Equal(t, garden.ZoneID("bean"), got.Zone)
	assert.Equal(t, r.now, got.At)
	assert.Equal(t, garden.Known(21), got.TempC)
	assert.Equal(t, 5, r.chip.reads)
}

func TestOneSpikeInABurstChangesNothing(t *testing.T) {
	s := &spiky{script: script{volts: map[int]float64{0: 1.8}, wobble: 0.001, sign: 1}}
	sm, err := NewSampler(oneProbe(), func(garden.Input) (VoltReader, error) { return s, nil }, Options{})
	require.NoError(t, err)
	got := sm.Sample(garden.Moment{}, nil)[0]
	want(t, got, garden.Good, garden.NoFault)
	assert.InDelta(t, 1.8, float64(got.Volts), 0.0011)
}

type spiky struct{ script }

func (s *spiky) ReadVolts(ch int) (garden.Volts, error) {
	v, err := s.script.ReadVolts(ch)
	if s.reads == 3 {
		v = 3.2
	}
	return v, err
}

// As series: one step on either side of each limit, on the way out and back.
func TestQualitySeries(t *testing.T) {
	type step struct {
		volts float64
		q     garden.Quality
		f     garden.ReadingFault
	}
	good := func(v float64) step { return step{v, garden.Good, garden.NoFault} }
	for _, c := range []struct {
		name   string
		series []step
	}{
		{"the margin lets go later than it takes", []step{
			good(2.40), good(2.60), {2.615, garden.Uncertain, garden.OutOfSpan}, {2.605, garden.Uncertain, garden.OutOfSpan},
			{2.592, garden.Uncertain, garden.OutOfSpan}, good(2.58), good(2.60)}},
		{"wider on the wet side", []step{good(1.03), {1.01, garden.Uncertain, garden.OutOfSpan}, {1.08, garden.Uncertain, garden.OutOfSpan}, good(1.10)}},
		{"open, and three plausible samples back", []step{
			good(1.8), {3.3, garden.Bad, garden.OpenCircuit}, {3.3, garden.Bad, garden.OpenCircuit},
			{1.8, garden.Uncertain, garden.OpenCircuit}, {1.8, garden.Uncertain, garden.OpenCircuit}, good(1.8)}},
		{"an intermittent plug never gets back to good", []step{
			good(1.8), {3.3, garden.Bad, garden.OpenCircuit}, {1.8, garden.Uncertain, garden.OpenCircuit},
			{3.3, garden.Bad, garden.OpenCircuit}, {1.8, garden.Uncertain, garden.OpenCircuit}, {1.8, garden.Uncertain, garden.OpenCircuit},
			{3.3, garden.Bad, garden.OpenCircuit}}},
		{"short", []step{good(1.8), {0.01, garden.Bad, garden.ShortCircuit}, {0.085, garden.Bad, garden.ShortCircuit},
			{1.8, garden.Uncertain, garden.ShortCircuit}, {1.8, garden.Uncertain, garden.ShortCircuit}, good(1.8)}},
		{"short at once is short, not dry or wet", []step{{0, garden.Bad, garden.ShortCircuit}}},
		{"a fall of 0.26 in a minute is no drinking", []step{
			good(1.6), {2.12, garden.Bad, garden.TooFast}, {2.12, garden.Bad, garden.TooFast},
			{1.62, garden.Uncertain, garden.TooFast}, {1.62, garden.Uncertain, garden.TooFast}, good(1.62)}},
		{"a fall of 0.24 in a minute may drain", []step{good(1.6), good(2.08)}},
		{"a can of water is not too fast", []step{good(2.3), good(1.4)}},
		{"from dry to the far end in a minute is", []step{good(2.5), {1.05, garden.Bad, garden.TooFast}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, Options{})
			for i, s := range c.series {
				t.Log("step", i)
				want(t, r.at(s.volts), s.q, s.f)
			}
		})
	}
}

func TestAProbePulledOutStaysDistrustedForHours(t *testing.T) {
	r := newRig(t, Options{})
	want(t, r.at(1.6), garden.Good, garden.NoFault)
	start := r.now
	for r.at(2.5).Quality != garden.Good { // 0.50 fell to 0.05 at once
		require.Less(t, r.now.Since(start), 24*time.Hour)
	}
	// 0.45 = 0.25 + 0.06 per hour: after 3 h 20 min, and three samples.
	assert.InDelta(t, (3*time.Hour + 22*time.Minute).Minutes(), r.now.Since(start).Minutes(), 2)
}

func TestFlatLine(t *testing.T) {
	r := newRig(t, Options{FlatAfter: time.Hour})
	r.chip.wobble = 0
	want(t, r.tick(), garden.Good, garden.NoFault)
	for i := 1; i < 60; i++ {
		want(t, r.tick(), garden.Good, garden.NoFault)
	}
	want(t, r.tick(), garden.Bad, garden.FlatLine)
	r.chip.wobble = 0.000125 // one count
	want(t, r.tick(), garden.Uncertain, garden.FlatLine)
	want(t, r.tick(), garden.Uncertain, garden.FlatLine)
	want(t, r.tick(), garden.Good, garden.NoFault)

	t.Run("the least movement in time resets it", func(t *testing.T) {
		r := newRig(t, Options{FlatAfter: time.Hour})
		r.chip.wobble = 0
		for range 60 {
			r.tick()
		}
		want(t, r.at(1.800125), garden.Good, garden.NoFault)
		for range 59 {
			want(t, r.tick(), garden.Good, garden.NoFault)
		}
		want(t, r.tick(), garden.Bad, garden.FlatLine)
	})
	t.Run("never, for probes that round", func(t *testing.T) {
		r := newRig(t, Options{FlatAfter: -1})
		r.chip.wobble = 0
		for range 24 * 60 {
			want(t, r.tick(), garden.Good, garden.NoFault)
		}
	})
}

func TestNoisy(t *testing.T) {
	r := newRig(t, Options{})
	r.chip.wobble = 0.027
	want(t, r.tick(), garden.Good, garden.NoFault) // width 0.054 of 0.055
	r.chip.wobble = 0.028
	want(t, r.tick(), garden.Uncertain, garden.Noisy)
	r.chip.wobble = 0.018
	want(t, r.tick(), garden.Uncertain, garden.Noisy) // 0.036 of 0.033
	r.chip.wobble = 0.016
	want(t, r.tick(), garden.Good, garden.NoFault)
}

func TestMissingHoldsTheLastValueForAWhile(t *testing.T) {
	r := newRig(t, Options{})
	last := r.tick()
	r.chip.err[0] = errors.New("remote i/o error")
	for range 3 {
		got := r.tick()
		want(t, got, garden.Uncertain, garden.Missing)
		assert.Equal(t, last.Water, got.Water)
		assert.Equal(t, last.At, got.At, "with the time of the answer")
	}
	got := r.tick()
	want(t, got, garden.Bad, garden.Missing)
	assert.Equal(t, last.At, got.At)
	r.chip.err[0] = nil
	var q []garden.Quality
	for range 40 { // its converter was given up and comes back after a pause
		q = append(q, r.tick().Quality)
	}
	assert.Equal(t, garden.Good, q[39])
}

func TestMissingForAMomentIsGoodAtOnce(t *testing.T) {
	r := newRig(t, Options{})
	r.tick()
	r.chip.err[0] = errors.New("nack")
	want(t, r.tick(), garden.Uncertain, garden.Missing)
	r.chip.err[0] = nil
	want(t, r.tick(), garden.Good, garden.NoFault)
}

func TestStaleIsNotMissing(t *testing.T) {
	r := newRig(t, Options{})
	want(t, r.tick(), garden.Good, garden.NoFault)
	r.chip.err[0] = fmt.Errorf("remote probe: 40 min: %w", ErrStale)
	want(t, r.tick(), garden.Bad, garden.Stale)
	r.chip.err[0] = nil
	want(t, r.tick(), garden.Uncertain, garden.Stale)
}

func TestANeverAnsweringProbeIsBad(t *testing.T) {
	s, err := NewSampler(oneProbe(), func(garden.Input) (VoltReader, error) { return nil, errors.New("no chip") }, Options{})
	require.NoError(t, err, "a missing chip must not keep the gateway from starting")
	got := s.Sample(garden.Moment{Mono: time.Minute}, nil)[0]
	want(t, got, garden.Bad, garden.Missing)
	s, err = NewSampler(oneProbe(), func(garden.Input) (VoltReader, error) { return nil, nil }, Options{})
	require.NoError(t, err)
	want(t, s.Sample(garden.Moment{}, nil)[0], garden.Bad, garden.Missing)
}

func TestNotFiniteIsMissing(t *testing.T) {
	for _, v := range []float64{math.NaN(), math.Inf(1)} {
		r := newRig(t, Options{})
		want(t, r.at(v), garden.Bad, garden.Missing)
	}
}

func TestAGlitchCostsNothing(t *testing.T) {
	r := newRig(t, Options{})
	r.chip.glitches = burstFailures
	want(t, r.tick(), garden.Good, garden.NoFault)
	r.chip.glitches = burstFailures + 1
	want(t, r.tick(), garden.Uncertain, garden.Missing)
}

func TestNoCalibration(t *testing.T) {
	g := oneProbe()
	g.Mixes[0].Calibration = garden.Calibration{}
	chip := &script{volts: map[int]float64{0: 1.8}, wobble: 0.001, sign: 1}
	s, err := NewSampler(g, func(garden.Input) (VoltReader, error) { return chip, nil }, Options{})
	require.NoError(t, err)
	got := s.Sample(garden.Moment{}, nil)[0]
	want(t, got, garden.Bad, garden.NoCalibration)
	assert.InDelta(t, 1.8, float64(got.Volts), 0.0011, "the voltage is shown, to calibrate with")
	chip.volts[0] = 3.3
	want(t, s.Sample(garden.Moment{}, nil)[0], garden.Bad, garden.OpenCircuit)
}

func TestACalibrationPointAtARailIsNoFault(t *testing.T) {
	g := oneProbe()
	g.Mixes[0].Calibration.Points = []garden.CalibrationPoint{{Volts: 3.25, Water: 0.02}, {Volts: 0.06, Water: 0.7}}
	chip := &script{volts: map[int]float64{0: 3.255}, wobble: 0.001, sign: 1}
	s, err := NewSampler(g, func(garden.Input) (VoltReader, error) { return chip, nil }, Options{})
	require.NoError(t, err)
	want(t, s.Sample(garden.Moment{}, nil)[0], garden.Good, garden.NoFault)
	chip.volts[0] = 3.3
	want(t, s.Sample(garden.Moment{}, nil)[0], garden.Bad, garden.OpenCircuit)
}

func TestNewSamplerRefuses(t *testing.T) {
	open := func(garden.Input) (VoltReader, error) { return nil, nil }
	for _, c := range []struct {
		name, want string
		opts       Options
		spoil      func(*garden.Garden)
	}{
		{"an even burst", "burst of 4", Options{Burst: 4}, nil},
		{"a long burst", "burst of 33", Options{}, func(g *garden.Garden) { g.Hardware.Burst = 33 }},
		{"a limit that is no number", "limit NaN", Options{MaxFall: math.NaN()}, nil},
		{"a calibration that is no curve", "probe bean: calibration", Options{}, func(g *garden.Garden) { g.Mixes[0].Calibration.Points[0].Volts = 1.4 }},
	} {
		t.Run(c.name, func(t *testing.T) {
			g := oneProbe()
			if c.spoil != nil {
				c.spoil(g)
			}
			_, err := NewSampler(g, open, c.opts)
			assert.ErrorContains(t, err, c.want)
		})
	}
	_, err := NewSampler(nil, nil, Options{})
	assert.Error(t, err)
}

package sensors

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// twoChips has three probes on one converter and one on another.
func twoChips() *garden.Garden {
	g := oneProbe()
	for i, in := range []garden.Input{{Addr: 0x48, Channel: 1}, {Addr: 0x49}, {Addr: 0x48, Channel: 2}} {
		id := fmt.Sprint("p", i)
		g.Pots[0].Zones[0].Probes = append(g.Pots[0].Zones[0].Probes, garden.Probe{ID: garden.ProbeID(id), Input: in})
	}
	return g
}

func qualities(rs []garden.Reading) (out string) {
	for _, r := range rs {
		out += r.Quality.String()[:1]
	}
	return out
}

func TestOneFailingConverterNeverStopsTheRest(t *testing.T) {
	bad := errors.New("remote i/o error")
	chips := map[uint16]*script{}
	for _, a := range []uint16{0x48, 0x49} {
		chips[a] = &script{volts: map[int]float64{0: 1.8, 1: 1.9, 2: 2.0}, err: map[int]error{}, wobble: 0.001, sign: 1}
	}
	var opened []time.Duration
	now := garden.Moment{}
	broken := false
	s, err := NewSampler(twoChips(), func(in garden.Input) (VoltReader, error) {
		if in.Addr == 0x48 {
			opened = append(opened, now.Mono)
			if broken {
				return nil, bad
			}
		}
		return chips[in.Addr], nil
	}, Options{HoldFor: time.Nanosecond})
	require.NoError(t, err)
	sample := func() string {
		now = now.Add(time.Minute)
		return qualities(s.Sample(now, nil))
	}
	assert.Equal(t, "gggg", sample())

	t.Run("a dead channel leaves its neighbours alone", func(t *testing.T) {
		chips[0x48].err[1] = bad
		for range 10 {
			assert.Equal(t, "gbgg", sample())
		}
		assert.Len(t, opened, 1)
		c := s.Chips(nil)[0]
		assert.True(t, c.Answering, "and is no turn of the converter")
		assert.Equal(t, time.Minute, c.Since.Mono)
		// 11 rounds of a burst of 5 on two channels and one on the third, then
		// one burst and ten times the 3 conversions that give a burst up.
		assert.Equal(t, uint64(11*10+5+10*3), c.Conversions)
		assert.Equal(t, uint64(10*3), c.Failed)
		chips[0x48].err[1] = nil
		for range 3 {
			sample()
		}
		assert.Equal(t, "gggg", sample())
	})
	t.Run("a dead converter is given up and tried again ever more rarely", func(t *testing.T) {
		broken = true
		for ch := range 3 {
			chips[0x48].err[ch] = bad
		}
		before := chips[0x48].reads
		opened = nil
		start := now.Mono
		for range 40 {
			assert.Equal(t, "bbgb", sample())
		}
		assert.Equal(t, before+failuresToClose*(burstFailures+1), chips[0x48].reads, "left alone once it is given up")
		var minutes []int
		for _, o := range opened {
			minutes = append(minutes, int((o-start)/time.Minute))
		}
		assert.Equal(t, []int{2, 3, 4, 6, 10, 15, 20, 25, 30, 35, 40}, minutes)
		cs := s.Chips(nil)
		require.Len(t, cs, 2)
		assert.False(t, cs[0].Up)
		assert.ErrorIs(t, cs[0].Err, bad)
		assert.Contains(t, cs[0].String(), "0x48 down")
		assert.True(t, cs[0].Asked)
		assert.False(t, cs[0].Answering)
		assert.Equal(t, start+time.Minute, cs[0].Since.Mono, "since the first round without it, however often it is tried")
		assert.True(t, cs[1].Answering)
		assert.True(t, cs[1].Up)
		ps := s.Probes(nil)
		require.Len(t, ps, 4)
		assert.ErrorIs(t, ps[0].Err, bad)
		assert.Equal(t, start, ps[0].LastAnswer.Mono)
		assert.Equal(t, uint64(40), ps[0].Failures)
		assert.NoError(t, ps[2].Err)
		assert.Zero(t, ps[2].Failures)
	})
	t.Run("and comes back", func(t *testing.T) {
		broken = false
		chips[0x48].err = map[int]error{}
		for range 10 {
			sample()
		}
		assert.Equal(t, "gggg", sample())
		back := s.Chips(nil)[0]
		assert.True(t, back.Up)
		assert.True(t, back.Answering)
		assert.NoError(t, back.Err)
		assert.Greater(t, back.Since.Mono, 40*time.Minute)
	})
}

func TestReadingsComeInTheOrderOfTheGarden(t *testing.T) {
	g := twoChips()
	chip := &script{volts: map[int]float64{}, wobble: 0.001, sign: 1}
	s, err := NewSampler(g, func(garden.Input) (VoltReader, error) { return chip, nil }, Options{})
	require.NoError(t, err)
	out := s.Sample(garden.Moment{}, nil)
	for i, p := range g.ProbeList() {
		assert.Equal(t, p.ID, out[i].Probe)
	}
	again := s.Sample(garden.Moment{Mono: time.Minute}, out)
	assert.Same(t, &out[0], &again[0], "in the same memory")
}

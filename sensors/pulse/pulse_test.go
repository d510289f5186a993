package pulse

import (
	"errors"
	"math"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func count(n uint64) garden.Pulses { return garden.Pulses{Total: n} }

// A meter of 450 pulses a litre at 8 L/h gives one pulse a second: plain
// arithmetic.
func TestMeterCountsLitres(t *testing.T) {
	m, err := NewMeter(450, 60)
	require.NoError(t, err)
	var l garden.Measured
	for s := range 3601 {
		l = m.Read(time.Duration(s)*time.Second, count(uint64(s)))
		require.True(t, l.Known)
	}
	assert.InDelta(t, 8, l.Value, 1e-9)
	assert.Empty(t, m.Trouble(time.Hour))
	assert.Equal(t, time.Second, Interval(450, 8))
}

// What the supply can't carry is no water: it is absent, told, and never counted
// later.
func TestMeterOfNoise(t *testing.T) {
	m, err := NewMeter(450, 60)
	require.NoError(t, err)
	n := uint64(0)
	at := func(s int, per uint64) garden.Measured {
		n += per
		return m.Read(time.Duration(s)*time.Second, count(n))
	}
	for s := range 20 {
		at(s, 7) // 56 L/h
	}
	require.True(t, at(20, 7).Known)
	for s := 21; s < 60; s++ {
		at(s, 100) // 50 Hz and its double from the mains, 800 L/h
	}
	assert.False(t, at(60, 100).Known)
	assert.Contains(t, m.Trouble(time.Minute), "240 L/h")
	var back garden.Measured
	for s := 61; s < 61+600+20; s++ {
		back = at(s, 0)
	}
	require.True(t, back.Known)
	assert.Less(t, back.Value, (150+2.0*1000)/450, "of the noise only what came before it was found out")
	assert.Empty(t, m.Trouble(12*time.Minute))
}

func TestMeterThatIsLost(t *testing.T) {
	m, err := NewMeter(450, 60)
	require.NoError(t, err)
	require.True(t, m.Read(0, count(5)).Known)
	assert.False(t, m.Read(time.Second, garden.Pulses{Total: 5, Err: errors.New("line 3 is lost")}).Known)
	assert.Contains(t, m.Trouble(time.Second), "line 3")
	m.Read(2*time.Second, garden.Pulses{Total: 25, Lost: 17})
	assert.Contains(t, m.Trouble(2*time.Second), "17 pulses were lost")
	assert.Empty(t, m.Trouble(2*time.Hour))
	for _, bad := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		_, err := NewMeter(bad, 60)
		assert.Error(t, err)
		_, err = NewMeter(450, bad)
		assert.Error(t, err)
	}
}

// A pulse no sooner than the dead time is always counted at any flow the supply
// carries, and half of the pulses' distance at four times that flow is left out.
func TestDeadTimeLeavesEveryPulse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		perL := rapid.Float64Range(0.1, 5000).Draw(t, "pulses/L")
		supply := rapid.Float64Range(1, 5000).Draw(t, "L/h")
		tl := garden.Tally{Dead: DeadTime(perL, supply)}
		gap := Interval(perL, supply)
		bounce := min(gap/16, DeadTime(perL, supply)-1)
		seq := uint32(0)
		for i := range 50 {
			at := time.Duration(i) * gap
			seq++
			tl.Take(at, seq)
			if bounce > 0 && rapid.Bool().Draw(t, "bounces") {
				seq++
				tl.Take(at+bounce, seq)
			}
		}
		if got := tl.Seen().Total; got != 50 {
			t.Fatalf("counted %d of 50", got)
		}
	})
}

func TestRainGauge(t *testing.T) {
	r, err := NewRain(0.2)
	require.NoError(t, err)
	for i, look := range []struct {
		name   string
		pulses uint64
		want   garden.Measured
	}{
		{"the first look measures nothing", 1000, garden.Measured{}},
		{"five tips", 1005, garden.Known(1)},
		{"none", 1005, garden.Known(0)},
		{"a counter that began anew", 3, garden.Measured{}},
		{"and counts on", 4, garden.Known(0.2)},
	} {
		mm := r.Read(time.Duration(i)*time.Minute, count(look.pulses))
		assert.Equal(t, look.want.Known, mm.Known, look.name)
		assert.InDelta(t, look.want.Value, mm.Value, 1e-9, look.name)
	}
	assert.InDelta(t, 1.2, r.LastHourMM(), 1e-9)
	assert.InDelta(t, 1.2, r.DayMM(), 1e-9)
	r.Read(30*time.Hour, count(4))
	assert.Zero(t, r.DayMM(), "hours go by")
	for _, bad := range []float64{0, -1, 50, math.NaN(), math.Inf(1)} {
		_, err := NewRain(bad)
		assert.Error(t, err, "%v", bad)
	}
}

// The heaviest minute ever measured, 31.2 mm at Unionville in 1956 (WMO, from
// memory), is believed; twice it is not, nor is what goes on like it for an hour,
// and none of it comes back later.
func TestRainThatCannotBe(t *testing.T) {
	r, _ := NewRain(0.2)
	n, at := uint64(0), time.Duration(0)
	step := func(tips uint64) garden.Measured {
		n += tips
		at += time.Minute
		return r.Read(at, count(n))
	}
	step(0)
	require.True(t, step(156).Known, "31.2 mm")
	assert.False(t, step(320).Known)
	assert.Contains(t, r.Trouble(at), "more rain than ever fell")
	for range 359 {
		assert.False(t, step(0).Known)
	}
	back := step(5)
	require.True(t, back.Known)
	assert.InDelta(t, 1, back.Value, 1e-9)

	r, _ = NewRain(0.2)
	n, at = 0, 0
	step(0)
	sum := 0.0
	for range 60 {
		sum += step(150).Or(0)
	}
	assert.LessOrEqual(t, sum, worstHourMM)
	assert.NotEmpty(t, r.Trouble(at))
}

// In that heaviest minute a bucket of 0.2 mm tips 156 times, none of them nearer
// than the gap within which a second one is a bounce.
func TestTipGap(t *testing.T) {
	gap := TipGap(0.2)
	assert.LessOrEqual(t, 156*gap, time.Minute+gap)
	assert.Equal(t, 100*time.Millisecond, TipGap(0.01), "a bucket needs that to swing")
	tl := garden.Tally{Dead: gap}
	seq := uint32(0)
	for i := range 10 {
		for b := range 5 { // a reed that chatters for 8 ms
			seq++
			tl.Take(time.Duration(i)*time.Minute+time.Duration(b)*2*time.Millisecond, seq)
		}
	}
	assert.Equal(t, uint64(10), tl.Seen().Total)
	assert.Equal(t, uint64(40), tl.Seen().Bounced)
}

// A float says "empty" at once and "water" only after ten seconds without a
// break; what can't be read is empty.
func TestFloat(t *testing.T) {
	var f Float
	assert.Equal(t, garden.FloatUp, f.Read(0, true, nil), "at the start it is believed as it stands")
	assert.Equal(t, garden.FloatDown, f.Read(time.Second, false, nil))
	assert.Equal(t, garden.FloatDown, f.Read(2*time.Second, true, nil))
	assert.Equal(t, garden.FloatDown, f.Read(9*time.Second, false, nil), "a wave")
	assert.Equal(t, garden.FloatDown, f.Read(10*time.Second, true, nil))
	assert.Equal(t, garden.FloatDown, f.Read(20*time.Second-1, true, nil))
	assert.Equal(t, garden.FloatUp, f.Read(20*time.Second, true, nil))
	assert.Equal(t, garden.FloatDown, f.Read(21*time.Second, true, errors.New("line 5 is lost")))
	assert.Contains(t, f.Trouble(), "line 5")
	assert.Equal(t, garden.FloatDown, f.Read(5*time.Second, true, nil), "a clock that runs back is no proof of water")
	var g Float
	assert.Equal(t, garden.FloatDown, g.Read(0, false, nil), "a wire that was never there")
}

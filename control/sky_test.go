package control

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fabricpot/control/garden"
	"fabricpot/control/weather"
)

// until is the inverse of between.
func TestUntilUndoesBetween(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s := sky{synced: true, etoMM: rapid.Float64Range(0.1, 12).Draw(rt, "today"), nextMM: rapid.Float64Range(0.1, 12).Draw(rt, "next")}
		s.riseH, s.lengthH = sun(rapid.Float64Range(-65, 65).Draw(rt, "latitude"), rapid.IntRange(1, 365).Draw(rt, "day"))
		a := rapid.Float64Range(0, 24).Draw(rt, "hour")
		h := rapid.Float64Range(0, 200).Draw(rt, "hours")
		got := s.until(a, s.between(a, h))
		if math.Abs(got-h) > 0.01 {
			rt.Fatalf("%v h from %v: until says %v", h, a, got)
		}
	})
}

// The table changes nothing, not in the last bit.
func TestTheTableIsTheSky(t *testing.T) {
	b := newBench(t, testGarden(1, 22))
	rapid.Check(t, func(rt *rapid.T) {
		b.now.Wall = time.Date(2014, 1, rapid.IntRange(1, 365).Draw(rt, "day"), 12, 0, 0, 0, time.UTC)
		b.now.Synced = rapid.Bool().Draw(rt, "clock")
		b.p.site.LatDeg = rapid.Float64Range(-70, 70).Draw(rt, "latitude")
		st := b.p.NewState()
		st.sky.refresh(b.p, b.now, &b.obs)
		if !st.sky.tabled {
			rt.Fatal("no table")
		}
		plain := st.sky
		plain.tabled = false
		share := rapid.Float64Range(0, 1).Draw(rt, "share")
		if with, without := st.sky.hourOf(share), plain.hourOf(share); with != without {
			rt.Fatalf("%v of the day are behind at %v by the table, at %v without", share, with, without)
		}
	})
}

// The method follows what is known. Figures: FAO-56 Example 20 (Lyon, July:
// Penman-Monteith 4.56 with wind 2 m/s and dew point = minimum, Hargreaves 5.0).
func TestReferenceByWhatIsKnown(t *testing.T) {
	lyon := weather.Place{LatDeg: 45.717, ElevationM: 200}
	day := time.Date(2014, 7, 15, 0, 0, 0, 0, time.UTC)
	temps := garden.DayWeather{TMinC: garden.Known(14.8), TMaxC: garden.Known(26.6)}
	t.Run("temperatures alone: Hargreaves-Samani", func(t *testing.T) {
		e := Reference(lyon, day, temps)
		assert.Equal(t, weather.Hargreaves, e.Method)
		assert.InDelta(t, 5.0, e.MM, 0.05)
	})
	t.Run("and wind: Penman-Monteith", func(t *testing.T) {
		d := temps
		d.WindMS = garden.Known(2)
		e := Reference(lyon, day, d)
		assert.Equal(t, weather.FAO56Daily, e.Method)
		assert.InDelta(t, 4.56, e.MM, 0.01)
		assert.ElementsMatch(t, []string{weather.EstHumidity, weather.EstRange}, e.Estimated)
	})
	t.Run("nothing: the usual day", func(t *testing.T) {
		e := Reference(lyon, day, garden.DayWeather{})
		assert.Equal(t, weather.UsualClimate, e.Method)
		assert.InDelta(t, 4.5, e.MM, 1.5)
		assert.Contains(t, e.Estimated, weather.EstTemperature)
	})
	t.Run("one impossible figure costs only itself", func(t *testing.T) {
		d := temps
		d.SolarMJ = garden.Known(900)
		e := Reference(lyon, day, d)
		assert.Equal(t, weather.Hargreaves, e.Method)
	})
	t.Run("nonsense: the usual day, in bounds", func(t *testing.T) {
		e := Reference(lyon, day, garden.DayWeather{TMinC: garden.Known(30), TMaxC: garden.Known(10)})
		assert.Equal(t, weather.UsualClimate, e.Method)
		require.True(t, e.MM >= 0.1 && e.MM <= 15)
	})
}

// Yesterday's figure stands in for a few days without temperatures, then the
// usual day does; never nothing.
func TestDemandWithoutWeather(t *testing.T) {
	b := newBench(t, testGarden(1, 22))
	b.run(2 * time.Hour)
	first := b.st.sky.etoMM
	require.Greater(t, first, 3.0)
	b.obs.Today = garden.DayWeather{}
	b.run(2 * 24 * time.Hour)
	assert.Equal(t, first, b.st.sky.etoMM)
	b.run(3 * 24 * time.Hour)
	assert.Equal(t, weather.UsualClimate, b.st.sky.eto.Method)
	assert.Greater(t, b.st.sky.etoMM, 2.0)
}

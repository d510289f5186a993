package weather_test

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

func TestSunEverywhere(t *testing.T) {
	t.Run("the hours of a day add up to it", func(t *testing.T) {
		rapid.Check(t, func(t *rapid.T) {
			lat := rapid.Float64Range(-90, 90).Draw(t, "lat")
			lon := rapid.Float64Range(-180, 180).Draw(t, "lon")
			clock := 15 * float64(rapid.IntRange(-12, 13).Draw(t, "zone"))
			n := rapid.IntRange(1, 366).Draw(t, "day")
			var sum float64
			for h := range 24 {
				ra := weather.HourRadiation(lat, lon, clock, n, float64(h), float64(h+1))
				assert.GreaterOrEqual(t, ra, 0.0)
				assert.Less(t, ra, 5.2)
				sum += ra
			}
			assert.InDelta(t, weather.ExtraterrestrialRadiation(lat, n), sum, 1e-6)
		})
	})
	t.Run("polar night and polar day", func(t *testing.T) {
		assert.Zero(t, weather.ExtraterrestrialRadiation(75, 355))
		assert.Zero(t, weather.DaylightHours(75, 355))
		assert.InDelta(t, 24, weather.DaylightHours(75, 172), 1e-9)
		// At the pole in high summer the sun circles at its declination: Ra =
		// 24·60·Gsc·dr·sin δ, by hand 45.4 MJ.
		dr, dec := 1+0.033*math.Cos(2*math.Pi*172/365), 0.409*math.Sin(2*math.Pi*172/365-1.39)
		assert.InDelta(t, 24*60*0.0820*dr*math.Sin(dec), weather.ExtraterrestrialRadiation(90, 172), 0.01)
		assert.Zero(t, weather.ExtraterrestrialRadiation(-90, 172))
	})
	t.Run("the south has the north's seasons, half a year off", func(t *testing.T) {
		assert.Greater(t, weather.ExtraterrestrialRadiation(-35, 355), 2*weather.ExtraterrestrialRadiation(-35, 172))
		assert.InDelta(t, 24, weather.DaylightHours(-35, 100)+weather.DaylightHours(35, 100), 1e-9)
	})
	t.Run("day 366 follows day 365 smoothly", func(t *testing.T) {
		for _, lat := range []float64{-60, -23, 0, 40, 66} {
			assert.InDelta(t, weather.ExtraterrestrialRadiation(lat, 365), weather.ExtraterrestrialRadiation(lat, 366), 0.12)
			assert.InDelta(t, weather.ExtraterrestrialRadiation(lat, 366), weather.ExtraterrestrialRadiation(lat, 1), 0.12)
		}
	})
	t.Run("no latitude, no sun", func(t *testing.T) {
		assert.Zero(t, weather.ExtraterrestrialRadiation(math.NaN(), 100))
		assert.Zero(t, weather.DaylightHours(math.NaN(), 100))
		assert.Zero(t, weather.HargreavesMM(math.NaN(), 20, 30))
		assert.Zero(t, weather.HargreavesMM(10, 20, math.Inf(1)))
		assert.Zero(t, weather.HargreavesMM(-40, -30, 30), "never negative")
		assert.Zero(t, weather.HargreavesMM(20, 10, 30), "no range")
	})
}

func drawDay(t *rapid.T) (weather.Place, garden.DayWeather) {
	p := weather.Place{
		LatDeg: rapid.Float64Range(-90, 90).Draw(t, "lat"), LonDeg: rapid.Float64Range(-180, 180).Draw(t, "lon"),
		ElevationM: rapid.Float64Range(-400, 5000).Draw(t, "elevation"), Coastal: rapid.Bool().Draw(t, "coastal"),
	}
	maybe := func(name string, lo, hi float64) garden.Measured {
		if rapid.Bool().Draw(t, name+" known") {
			return garden.Known(rapid.Float64Range(lo, hi).Draw(t, name))
		}
		return garden.Measured{}
	}
	d := garden.DayWeather{Date: time.Date(rapid.IntRange(2001, 2028).Draw(t, "year"), 1, rapid.IntRange(1, 366).Draw(t, "day"), 0, 0, 0, 0, time.UTC)}
	d.TMinC = maybe("tmin", -40, 30)
	if d.TMaxC = maybe("tmax", -40, 50); d.TMinC.Known && d.TMaxC.Known {
		d.TMaxC.Value = max(d.TMaxC.Value, d.TMinC.Value)
	}
	d.WindMS, d.WindHeightM = maybe("wind", 0, 30), rapid.Float64Range(1, 20).Draw(t, "wind height")
	d.RHMax = maybe("rh max", 50, 100)
	d.RHMin = maybe("rh min", 0, 50)
	d.RHMean = maybe("rh mean", 0, 100)
	if m := maybe("solar share", 0, 0.78); m.Known {
		d.SolarMJ = garden.Known(m.Value * weather.ExtraterrestrialRadiation(p.LatDeg, d.Date.YearDay()))
	}
	if m := maybe("sun share", 0, 1); m.Known {
		d.SunHours = garden.Known(m.Value * weather.DaylightHours(p.LatDeg, d.Date.YearDay()))
	}
	return p, d
}

// Whatever is known or not, wherever and whenever: an answer that is finite,
// not negative and possible.
func TestDailyAlwaysAnswers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, d := drawDay(t)
		for _, method := range []func(weather.Place, garden.DayWeather) (weather.ETo, error){weather.Daily, weather.ASCEDaily, weather.HargreavesDaily} {
			e, err := method(p, d)
			require.NoError(t, err)
			for _, v := range []float64{e.MM, e.RaMJ, e.RsMJ, e.RnMJ, e.EsKPa, e.EaKPa, e.Delta, e.Gamma, e.U2, e.RadiationMM, e.AirFlowMM} {
				assert.True(t, garden.Finite(v))
			}
			assert.GreaterOrEqual(t, e.MM, 0.0)
			assert.Less(t, e.MM, 80.0)
			assert.LessOrEqual(t, e.EaKPa, e.EsKPa+1e-12)
			assert.NotEmpty(t, e.Method)
		}
	})
}

// ETo rises with dryness of the air, with radiation while it is light, and with
// wind where the air is dry.
func TestDailyIsMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := weather.Place{LatDeg: rapid.Float64Range(-60, 60).Draw(t, "lat"), ElevationM: rapid.Float64Range(0, 3000).Draw(t, "elevation")}
		d := garden.DayWeather{Date: time.Date(2023, 1, rapid.IntRange(1, 365).Draw(t, "day"), 0, 0, 0, 0, time.UTC)}
		tmin := rapid.Float64Range(-5, 25).Draw(t, "tmin")
		d.TMinC, d.TMaxC = garden.Known(tmin), garden.Known(tmin+rapid.Float64Range(0, 20).Draw(t, "range"))
		wind := rapid.Float64Range(0.5, 10).Draw(t, "wind")
		d.WindMS = garden.Known(wind)
		dew := tmin - rapid.Float64Range(0, 20).Draw(t, "dryness")
		d.DewC = garden.Known(dew)
		sky := weather.ClearSkyMJ(weather.ExtraterrestrialRadiation(p.LatDeg, d.Date.YearDay()), p.ElevationM)
		share := rapid.Float64Range(0.35, 0.9).Draw(t, "share")
		d.SolarMJ = garden.Known(share * sky)
		eto := func(d garden.DayWeather) float64 {
			e, err := weather.Daily(p, d)
			require.NoError(t, err)
			return e.MM
		}
		base := eto(d)
		brighter := d
		brighter.SolarMJ = garden.Known((share + 0.1) * sky)
		// More sun also means a clearer sky, which radiates: only where it
		// gains more than it loses does the water follow.
		if 0.77*0.1*sky > 0.1*1.35*4.903e-9*math.Pow(tmin+25+273.16, 4)*0.34 {
			assert.GreaterOrEqual(t, eto(brighter), base-1e-12, "more sun")
		}
		// A drier air also lets more heat out; below freezing and in calm that
		// can win, so the deficit is judged by the term that carries it.
		drier := d
		drier.DewC = garden.Known(dew - 3)
		e1, err := weather.Daily(p, d)
		require.NoError(t, err)
		e2, err := weather.Daily(p, drier)
		require.NoError(t, err)
		assert.Greater(t, e2.AirFlowMM, e1.AirFlowMM, "drier air")
		if wind > 2 && tmin > 5 {
			assert.GreaterOrEqual(t, e2.MM, e1.MM, "drier air")
		}
		windier := d
		windier.WindMS = garden.Known(wind + 1)
		e3, err := weather.Daily(p, windier)
		require.NoError(t, err)
		assert.GreaterOrEqual(t, e3.AirFlowMM, e1.AirFlowMM-1e-12, "more wind")
	})
}

func TestHourlyAlwaysAnswers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, d := drawDay(t)
		h := weather.HourWeather{DayOfYear: d.Date.YearDay(), StartH: rapid.Float64Range(0, 23).Draw(t, "start"), ClockLonDeg: math.Round(p.LonDeg/15) * 15,
			DayMinC: d.TMinC, DayMaxC: d.TMaxC, WindMS: d.WindMS, WindHeightM: d.WindHeightM, RH: d.RHMean}
		h.EndH = h.StartH + rapid.Float64Range(0.1, 1).Draw(t, "length")
		for _, method := range []func(weather.Place, weather.HourWeather) (weather.ETo, error){weather.Hourly, weather.ASCEHourly} {
			e, err := method(p, h)
			require.NoError(t, err)
			assert.True(t, garden.Finite(e.MM))
			assert.GreaterOrEqual(t, e.MM, 0.0)
			assert.Less(t, e.MM, 5.0)
		}
	})
}

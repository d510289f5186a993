package weather_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
	"fabricpot/control/weather"
)

// What is not measured is estimated, and told.
func TestDailyTellsItsEstimates(t *testing.T) {
	p := weather.Place{LatDeg: 40.64, LonDeg: 22.94, ElevationM: 5, Coastal: true}
	whole := day(t, 196)
	whole.TMinC, whole.TMaxC = garden.Known(20), garden.Known(33)
	whole.RHMin, whole.RHMax = garden.Known(35), garden.Known(80)
	whole.WindMS, whole.WindHeightM, whole.SolarMJ = garden.Known(2.5), 2, garden.Known(26)
	none := garden.Measured{}
	for _, tc := range []struct {
		name   string
		change func(*garden.DayWeather)
		says   []string
		method string
	}{
		{"everything measured", func(*garden.DayWeather) {}, nil, weather.FAO56Daily},
		{"dew point for humidity", func(d *garden.DayWeather) { d.RHMin, d.RHMax, d.DewC = none, none, garden.Known(16) }, nil, weather.FAO56Daily},
		{"no wind", func(d *garden.DayWeather) { d.WindMS = none }, []string{weather.EstWind}, weather.FAO56Daily},
		{"highest humidity only", func(d *garden.DayWeather) { d.RHMin = none }, []string{weather.EstHumidityMax}, weather.FAO56Daily},
		{"mean humidity only", func(d *garden.DayWeather) { d.RHMin, d.RHMax, d.RHMean = none, none, garden.Known(55) }, []string{weather.EstHumidityRH}, weather.FAO56Daily},
		{"no humidity", func(d *garden.DayWeather) { d.RHMin, d.RHMax = none, none }, []string{weather.EstHumidity}, weather.FAO56Daily},
		{"sunshine hours", func(d *garden.DayWeather) { d.SolarMJ, d.SunHours = none, garden.Known(12) }, []string{weather.EstSunHours}, weather.FAO56Daily},
		{"no radiation", func(d *garden.DayWeather) { d.SolarMJ = none }, []string{weather.EstRange}, weather.FAO56Daily},
		{"no maximum", func(d *garden.DayWeather) { d.TMaxC = none }, []string{weather.EstMaximum}, weather.FAO56Daily},
		{"no minimum", func(d *garden.DayWeather) { d.TMinC = none }, []string{weather.EstMinimum}, weather.FAO56Daily},
		{"nothing but the day", func(d *garden.DayWeather) { *d = garden.DayWeather{Date: d.Date} },
			[]string{weather.EstTemperature, weather.EstHumidity, weather.EstRange, weather.EstWind}, weather.UsualClimate},
	} {
		t.Run(tc.name, func(t *testing.T) {
			d := whole
			tc.change(&d)
			e, err := weather.Daily(p, d)
			require.NoError(t, err)
			assert.ElementsMatch(t, tc.says, e.Estimated)
			assert.Equal(t, tc.method, e.Method)
			// A day in July by the Aegean; common practice, no source.
			assert.Greater(t, e.MM, 3.0)
			assert.Less(t, e.MM, 9.0)
		})
	}
}

func TestHourlyTellsItsEstimates(t *testing.T) {
	p := weather.Place{LatDeg: 40.64, LonDeg: 22.94, ElevationM: 5}
	start := time.Date(2025, 7, 14, 13, 0, 0, 0, time.FixedZone("summer", 3*3600))
	h := weather.HourAt(start, time.Hour)
	assert.Equal(t, 195, h.DayOfYear)
	assert.Equal(t, [3]float64{13, 14, 45}, [3]float64{h.StartH, h.EndH, h.ClockLonDeg})

	e, err := weather.Hourly(p, h)
	require.NoError(t, err)
	assert.ElementsMatch(t, []string{weather.EstTemperature, weather.EstHumidity, weather.EstRange, weather.EstWind}, e.Estimated)
	assert.Greater(t, e.MM, 0.3)
	assert.Less(t, e.MM, 1.2)

	h.DayMinC, h.DayMaxC = garden.Known(20), garden.Known(33)
	e, err = weather.Hourly(p, h)
	require.NoError(t, err)
	assert.Contains(t, e.Estimated, weather.EstHourTemp)
	assert.InDelta(t, 31, e.TMeanC, 2.1, "early afternoon is near the maximum")

	night := weather.HourAt(start.Add(12*time.Hour), time.Hour)
	night.TempC, night.RH, night.WindMS = garden.Known(24), garden.Known(60), garden.Known(2)
	e, err = weather.ASCEHourly(p, night)
	require.NoError(t, err)
	assert.Equal(t, []string{weather.EstCloud}, e.Estimated)
	assert.Negative(t, e.RnMJ)
	assert.InDelta(t, 0.5*e.RnMJ, e.GMJ, 1e-12)
}

// The night's cloud is the evening's.
func TestSeriesCarriesCloud(t *testing.T) {
	p := weather.Place{LatDeg: 40.64, LonDeg: 22.94}
	noon := weather.HourAt(time.Date(2025, 7, 14, 12, 0, 0, 0, time.UTC), time.Hour)
	noon.TempC, noon.RH, noon.WindMS, noon.SolarMJ = garden.Known(30), garden.Known(40), garden.Known(2), garden.Known(1.2)
	night := weather.HourAt(time.Date(2025, 7, 14, 22, 0, 0, 0, time.UTC), time.Hour)
	night.TempC, night.RH, night.WindMS, night.SolarMJ = garden.Known(24), garden.Known(60), garden.Known(2), garden.Known(0)
	for name, method := range map[string]func(weather.Place, weather.HourWeather) (weather.ETo, error){"fao": weather.Hourly, "asce": weather.ASCEHourly} {
		got, err := weather.Series(p, []weather.HourWeather{noon, night}, method)
		require.NoError(t, err)
		assert.InDelta(t, 1.2/got[0].RsoMJ, got[0].CloudRatio, 1e-9, name)
		assert.Equal(t, got[0].CloudRatio, got[1].CloudRatio, name)
		assert.Empty(t, got[1].Estimated, name)
	}
	night.RH = garden.Measured{Value: math.NaN(), Known: true}
	_, err := weather.Series(p, []weather.HourWeather{noon, night}, weather.Hourly)
	assert.ErrorContains(t, err, "hour 1")
}

func TestRefusals(t *testing.T) {
	good := weather.Place{LatDeg: 40, LonDeg: 20, ElevationM: 10}
	nan, inf := garden.Measured{Value: math.NaN(), Known: true}, garden.Measured{Value: math.Inf(1), Known: true}
	for _, tc := range []struct {
		name, says string
		p          weather.Place
		change     func(*garden.DayWeather)
	}{
		{"latitude out of range", "latitude is 91", weather.Place{LatDeg: 91}, nil},
		{"latitude NaN", "latitude is NaN", weather.Place{LatDeg: math.NaN()}, nil},
		{"longitude out of range", "longitude is 200", weather.Place{LonDeg: 200}, nil},
		{"elevation out of range", "elevation is 12000", weather.Place{ElevationM: 12000}, nil},
		{"minimum over maximum", "minimum temperature 30 °C is over the maximum 20 °C", good, func(d *garden.DayWeather) { d.TMinC, d.TMaxC = garden.Known(30), garden.Known(20) }},
		{"temperature NaN", "maximum temperature is NaN", good, func(d *garden.DayWeather) { d.TMaxC = nan }},
		{"temperature in Fahrenheit", "maximum temperature is 95", good, func(d *garden.DayWeather) { d.TMaxC = garden.Known(95) }},
		{"wind infinite", "wind is +Inf", good, func(d *garden.DayWeather) { d.WindMS = inf }},
		{"wind negative", "wind is -1", good, func(d *garden.DayWeather) { d.WindMS = garden.Known(-1) }},
		{"wind's height", "height of the wind", good, func(d *garden.DayWeather) { d.WindHeightM = 0.01 }},
		{"humidity over 100", "maximum humidity is 101", good, func(d *garden.DayWeather) { d.RHMax = garden.Known(101) }},
		{"humidities exchanged", "minimum humidity 80 % is over", good, func(d *garden.DayWeather) { d.RHMin, d.RHMax = garden.Known(80), garden.Known(30) }},
		{"dew point over the air", "dew point 25 °C is over", good, func(d *garden.DayWeather) { d.DewC, d.TMaxC = garden.Known(25), garden.Known(20) }},
		{"radiation over the sun's", "is the unit MJ/m² a day?", good, func(d *garden.DayWeather) { d.SolarMJ = garden.Known(45) }},
		{"radiation infinite", "solar radiation is +Inf", good, func(d *garden.DayWeather) { d.SolarMJ = inf }},
		{"sunshine longer than the day", "16 h of sunshine", good, func(d *garden.DayWeather) { d.SunHours = garden.Known(16) }},
		{"rain NaN", "rain is NaN", good, func(d *garden.DayWeather) { d.RainMM = nan }},
		{"no date", "no date", good, func(d *garden.DayWeather) { d.Date = time.Time{} }},
	} {
		t.Run(tc.name, func(t *testing.T) {
			d := day(t, 172)
			d.TMinC, d.TMaxC = garden.Known(15), garden.Known(30)
			if tc.change != nil {
				if d.TMaxC.Value == 30 && tc.name == "temperature NaN" {
					d.TMinC = garden.Measured{}
				}
				tc.change(&d)
			}
			for _, method := range []func(weather.Place, garden.DayWeather) (weather.ETo, error){weather.Daily, weather.ASCEDaily} {
				e, err := method(tc.p, d)
				assert.ErrorContains(t, err, tc.says)
				assert.Zero(t, e)
			}
		})
	}
}

func TestHourRefusals(t *testing.T) {
	p := weather.Place{LatDeg: 40, LonDeg: 20}
	for _, tc := range []struct {
		name, says string
		change     func(*weather.HourWeather)
	}{
		{"day 0", "day of the year is 0", func(h *weather.HourWeather) { h.DayOfYear = 0 }},
		{"day 367", "day of the year is 367", func(h *weather.HourWeather) { h.DayOfYear = 367 }},
		{"backward", "runs from 13 to 12", func(h *weather.HourWeather) { h.StartH, h.EndH = 13, 12 }},
		{"too long", "expected an hour or less", func(h *weather.HourWeather) { h.EndH = 14 }},
		{"over midnight", "end of the period is 25", func(h *weather.HourWeather) { h.StartH, h.EndH = 24, 25 }},
		{"start NaN", "start of the period is NaN", func(h *weather.HourWeather) { h.StartH = math.NaN() }},
		{"humidity", "humidity is 140", func(h *weather.HourWeather) { h.RH = garden.Known(140) }},
		{"dew point", "dew point 30 °C is over", func(h *weather.HourWeather) { h.TempC, h.DewC = garden.Known(20), garden.Known(30) }},
		{"extremes", "is over the maximum", func(h *weather.HourWeather) { h.DayMinC, h.DayMaxC = garden.Known(20), garden.Known(10) }},
		{"sun at night", "are unit, clock and longitude right", func(h *weather.HourWeather) { h.StartH, h.EndH, h.SolarMJ = 1, 2, garden.Known(2) }},
		{"temperature NaN", "temperature is NaN", func(h *weather.HourWeather) { h.TempC = garden.Measured{Value: math.NaN(), Known: true} }},
	} {
		t.Run(tc.name, func(t *testing.T) {
			h := weather.HourWeather{DayOfYear: 172, StartH: 12, EndH: 13, ClockLonDeg: 15}
			tc.change(&h)
			_, err := weather.Hourly(p, h)
			assert.ErrorContains(t, err, tc.says)
			_, err = weather.ASCEHourly(p, h)
			assert.ErrorContains(t, err, tc.says)
		})
	}
}

func TestDayNumbered(t *testing.T) {
	leap, err := weather.DayNumbered(2024, 366)
	require.NoError(t, err)
	assert.Equal(t, "2024-12-31", leap.Format(time.DateOnly))
	assert.Equal(t, 366, leap.YearDay())
	for _, n := range []int{366, 0, -3} {
		_, err = weather.DayNumbered(2023, n)
		assert.ErrorContains(t, err, "expected 1 to 365")
	}
}

// The usual climate against means of real places (from memory, ±6 °C as its
// description says).
func TestUsualDay(t *testing.T) {
	for _, tc := range []struct {
		name string
		p    weather.Place
		day  string
		mean float64
	}{
		{"Thessaloniki in July", weather.Place{LatDeg: 40.6, Coastal: true}, "2023-07-15", 27},
		{"Thessaloniki in January", weather.Place{LatDeg: 40.6, Coastal: true}, "2023-01-15", 6},
		{"Seattle in July", weather.Place{LatDeg: 47.45, Coastal: true}, "2023-07-15", 19},
		{"Singapore", weather.Place{LatDeg: 1.3, Coastal: true}, "2023-04-15", 28},
		{"Sydney in January", weather.Place{LatDeg: -33.9, Coastal: true}, "2023-01-20", 23},
		{"Sydney in July", weather.Place{LatDeg: -33.9, Coastal: true}, "2023-07-20", 13},
		{"Nairobi, high up", weather.Place{LatDeg: -1.3, ElevationM: 1660}, "2023-07-15", 17},
	} {
		date, err := time.Parse(time.DateOnly, tc.day)
		require.NoError(t, err)
		d := weather.UsualDay(tc.p, date)
		assert.InDelta(t, tc.mean, (d.TMinC.Value+d.TMaxC.Value)/2, 6, tc.name)
		assert.False(t, d.RainMM.Known || d.WindMS.Known)
	}
}

package weather_test

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
	"fabricpot/control/weather"
)

// hourTable is a made-up day or more of hours from a start.
func hourTable(start time.Time, n int) string {
	var b strings.Builder
	b.WriteString("time,temp,rh,wind,solar_w,precipitation\n")
	for i := range n {
		at := start.Add(time.Duration(i) * time.Hour)
		solar := 0
		if h := at.Hour(); h >= 8 && h < 18 {
			solar = 500
		}
		fmt.Fprintf(&b, "%s,%d,%d,2,%d,0.5\n", at.Format(time.RFC3339), 15+at.Hour()/2, 90-at.Hour(), solar)
	}
	return b.String()
}

func TestReadHourly(t *testing.T) {
	summer := time.FixedZone("summer", 3*3600)
	src := hourTable(time.Date(2025, 7, 14, 0, 0, 0, 0, summer), 36)
	hours, warnings, err := weather.ReadHourly(strings.NewReader(src), "h.csv", summer)
	require.NoError(t, err)
	assert.Empty(t, warnings)
	require.Len(t, hours, 36)
	h := hours[13]
	assert.Equal(t, [3]float64{13, 14, 45}, [3]float64{h.StartH, h.EndH, h.ClockLonDeg})
	assert.Equal(t, 195, h.DayOfYear)
	assert.Equal(t, 21.0, h.TempC.Value)
	assert.InDelta(t, 1.8, h.SolarMJ.Value, 1e-12, "500 W/m² for an hour")
	assert.Equal(t, 10.0, h.WindHeightM)

	e, err := weather.Hourly(weather.Place{LatDeg: 40.64, LonDeg: 22.94}, h.HourWeather)
	require.NoError(t, err)
	assert.Positive(t, e.MM)
	assert.Empty(t, e.Estimated)

	days := weather.DaysOf(hours)
	require.Len(t, days, 2)
	assert.Equal(t, "2025-07-14", days[0].Date.Format(time.DateOnly))
	assert.Equal(t, []float64{15, 26, 67, 90, 2, 12}, []float64{days[0].TMinC.Value, days[0].TMaxC.Value,
		days[0].RHMin.Value, days[0].RHMax.Value, days[0].WindMS.Value, days[0].RainMM.Value})
	assert.InDelta(t, 18, days[0].SolarMJ.Value, 1e-9, "ten hours of 500 W/m²")
	assert.Equal(t, garden.DayWeather{Date: days[1].Date, WindHeightM: 10}, days[1], "half a day tells no extremes")
}

func TestReadHourlyRefuses(t *testing.T) {
	head := "time,temp\n"
	for _, tc := range []struct{ name, src, says string }{
		{"empty", "", "h.csv:1:1: the file is empty, expected a header with time, temp"},
		{"no rows", head, "h.csv:2:1: no hours"},
		{"no temperature", "time,rh\n", "the header has no column temp; it has time, rh"},
		{"gap", head + "2025-07-14 00:00,20\n2025-07-14 05:00,20\n", "h.csv:3:1: time 2025-07-14 05:00 leaves a gap of 4 hours"},
		{"one hour left out", head + "2025-07-14 00:00,20\n2025-07-14 02:00,20\n", "leaves out an hour"},
		{"twice", head + "2025-07-14 00:00,20\n2025-07-14 00:00,20\n", "stands twice"},
		{"backward", head + "2025-07-14 04:00,20\n2025-07-14 03:00,20\n", "goes back"},
		{"half hours", head + "2025-07-14 00:30,20\n", "expected a full hour"},
		{"no time", head + "noon,20\n", `time "noon", expected YYYY-MM-DD HH:MM`},
		{"NaN", head + "2025-07-14 00:00,nan\n", `h.csv:2:18: temp "nan"`},
		{"Fahrenheit", head + "2025-07-14 00:00,86\n", "if the column is in °F"},
		{"humidity", "time,temp,rh\n2025-07-14 00:00,20,130\n", "rh 130, expected 0 to 100 %"},
		{"dew point over the air", "time,temp,dew_point\n2025-07-14 00:00,20,25\n", "dew point 25 °C is over"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			_, _, err := weather.ReadHourly(strings.NewReader(tc.src), "h.csv", nil)
			require.Error(t, err)
			assert.Contains(t, err.Error(), tc.says)
		})
	}
}

func FuzzReadHourly(f *testing.F) {
	f.Add([]byte(hourTable(time.Date(2025, 7, 14, 20, 0, 0, 0, time.UTC), 26)))
	f.Add([]byte("time,temp,rh,dew_point,wind,wind_height,solar,precipitation\n2025-07-14T10:00+03:00,30,40,15,2,2,3.1,0\n"))
	f.Add([]byte("time,temp\n2025-07-14 00:00,\n"))
	f.Fuzz(func(t *testing.T, src []byte) {
		hours, _, err := weather.ReadHourly(bytes.NewReader(src), "h.csv", time.UTC)
		if err != nil {
			assert.Regexp(t, `^h\.csv:\d+:\d+: `, err.Error())
			return
		}
		require.NotEmpty(t, hours)
		for i, h := range hours {
			if i > 0 {
				assert.Equal(t, time.Hour, h.Start.Sub(hours[i-1].Start))
			}
			assert.True(t, !h.TempC.Known || garden.Finite(h.TempC.Value))
		}
		assert.NotEmpty(t, weather.DaysOf(hours))
	})
}

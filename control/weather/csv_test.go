package weather_test

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
	"fabricpot/control/weather"
)

const header = "date,precipitation,temp_max,temp_min,wind,weather\n"

func readFile(t testing.TB, name string) []garden.DayWeather {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "weather", name))
	require.NoError(t, err)
	defer f.Close()
	days, warnings, err := weather.ReadDaily(f, name, time.UTC)
	require.NoError(t, err)
	assert.Empty(t, warnings)
	return days
}

func TestReadMeasuredFiles(t *testing.T) {
	days := readFile(t, "seattle-weather.csv")
	require.Len(t, days, 1461)
	// The file's own second row: 2012-01-02,10.9,10.6,2.8,4.5,rain.
	assert.Equal(t, garden.DayWeather{
		Date: time.Date(2012, 1, 2, 0, 0, 0, 0, time.UTC), WindHeightM: 10,
		RainMM: garden.Known(10.9), TMaxC: garden.Known(10.6), TMinC: garden.Known(2.8), WindMS: garden.Known(4.5),
	}, days[1])
	assert.Equal(t, "2015-12-31", days[1460].Date.Format(time.DateOnly))
	rain := map[int]float64{}
	for _, d := range days {
		rain[d.Date.Year()] += d.RainMM.Value
	}
	// Sums computed independently from the same file.
	assert.InDelta(t, 1226.0, rain[2012], 0.05)
	assert.InDelta(t, 828.0, rain[2013], 0.05)
	assert.Len(t, readFile(t, "new-york-weather.csv"), 1461)
}

func TestReadSyntheticHeatSpell(t *testing.T) {
	days := readFile(t, "synthetic-heat-spell.csv")
	require.Len(t, days, 14)
	hot := 0
	for _, d := range days {
		ra := weather.ExtraterrestrialRadiation(40.64, d.Date.YearDay())
		if weather.HargreavesMM(d.TMinC.Value, d.TMaxC.Value, ra) >= 7 {
			hot++
		}
	}
	assert.Equal(t, 8, hot, "what the data's own description promises")
}

func TestReadDailyForms(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Athens")
	if err != nil {
		t.Skip("no time zone database here")
	}
	want := time.Date(2014, 5, 1, 0, 0, 0, 0, zone)
	for _, tc := range []struct{ name, src string }{
		{"plain", header + "2014-05-01,0.5,20,10,3,rain\n"},
		{"CRLF", strings.ReplaceAll(header+"2014-05-01,0.5,20,10,3,rain\n", "\n", "\r\n")},
		{"byte order mark", "\ufeff" + header + "2014-05-01,0.5,20,10,3,rain\n"},
		{"no last newline", header + "2014-05-01,0.5,20,10,3,rain"},
		{"other order, spaces and case", "Wind, Temp_Max ,temp_min,DATE,precipitation\n3, 20 ,10,2014-05-01,0.5\n"},
		{"quoted", header + "\"2014-05-01\",\"0.5\",20,10,3,\"rain, then sun\"\n"},
		{"a comment first", "# from a friend\n" + header + "2014-05-01,0.5,20,10,3,rain\n"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			days, warnings, err := weather.ReadDaily(strings.NewReader(tc.src), "w.csv", zone)
			require.NoError(t, err)
			assert.Empty(t, warnings)
			require.Len(t, days, 1)
			assert.True(t, want.Equal(days[0].Date), "midnight where the garden is")
			assert.Equal(t, [4]float64{.5, 20, 10, 3}, [4]float64{
				days[0].RainMM.Value, days[0].TMaxC.Value, days[0].TMinC.Value, days[0].WindMS.Value})
		})
	}
	t.Run("optional columns", func(t *testing.T) {
		days, _, err := weather.ReadDaily(strings.NewReader(
			"date,precipitation,temp_max,temp_min,wind,wind_height,solar,sun_hours,rh_min,rh_max,rh_mean,dew_point\n"+
				"2014-05-01,0,20,10,3,2,21.5,9,40,90,65,8\n"), "w.csv", nil)
		require.NoError(t, err)
		d := days[0]
		assert.Equal(t, []float64{2, 21.5, 9, 40, 90, 65, 8}, []float64{d.WindHeightM, d.SolarMJ.Value, d.SunHours.Value,
			d.RHMin.Value, d.RHMax.Value, d.RHMean.Value, d.DewC.Value})
	})
	t.Run("what was not measured is absent, not zero", func(t *testing.T) {
		days, _, err := weather.ReadDaily(strings.NewReader(header+"2014-05-01,,20,,3,\n"), "w.csv", nil)
		require.NoError(t, err)
		assert.False(t, days[0].RainMM.Known)
		assert.False(t, days[0].TMinC.Known)
		assert.True(t, days[0].TMaxC.Known)
	})
	t.Run("days across a change of clocks are no gap", func(t *testing.T) {
		_, _, err := weather.ReadDaily(strings.NewReader(header+
			"2014-03-29,0,20,10,3,\n2014-03-30,0,20,10,3,\n2014-03-31,0,20,10,3,\n"), "w.csv", zone)
		require.NoError(t, err)
	})
	t.Run("a day whose midnight does not exist", func(t *testing.T) {
		sao, err := time.LoadLocation("America/Sao_Paulo")
		if err != nil {
			t.Skip("no time zone database here")
		}
		days, _, err := weather.ReadDaily(strings.NewReader(header+
			"2017-10-14,0,20,10,3,\n2017-10-15,0,20,10,3,\n2017-10-16,0,20,10,3,\n"), "w.csv", sao)
		require.NoError(t, err)
		assert.Equal(t, 15, days[1].Date.Day())
	})
	t.Run("leap day", func(t *testing.T) {
		days, _, err := weather.ReadDaily(strings.NewReader(header+
			"2012-02-28,0,20,10,3,\n2012-02-29,0,20,10,3,\n2012-03-01,0,20,10,3,\n"), "w.csv", nil)
		require.NoError(t, err)
		assert.Len(t, days, 3)
	})
}

func TestReadDailyRefuses(t *testing.T) {
	ok := "2014-05-01,0.5,20,10,3,rain\n"
	for _, tc := range []struct{ name, src, says string }{
		{"empty file", "", "w.csv:1:1: the file is empty"},
		{"header only", header, "w.csv:2:1: no days"},
		{"missing columns", "date,temp_max,temp_min\n2014-05-01,20,10\n", "w.csv:1:1: the header has no column precipitation, wind; it has date, temp_max, temp_min"},
		{"column twice", "date,wind,precipitation,temp_max,temp_min,wind\n", `w.csv:1:43: column "wind" stands twice`},
		{"too few values", header + ok + "2014-05-02,0.5,20\n", "w.csv:3:1: 3 values, the header has 6 columns"},
		{"gap", header + ok + "2014-05-05,0.5,20,10,3,rain\n", "w.csv:3:1: date 2014-05-05 leaves a gap of 3 days"},
		{"date twice", header + ok + ok, "w.csv:3:1: date 2014-05-01 stands twice"},
		{"backward", header + ok + "2014-04-30,0,20,10,3,\n", "w.csv:3:1: date 2014-04-30 goes back"},
		{"no date", header + "1 May 2014,0,20,10,3,\n", `w.csv:2:1: date "1 May 2014", expected YYYY-MM-DD`},
		{"day that is none", header + "2014-02-29,0,20,10,3,\n", `date "2014-02-29"`},
		{"words for a number", header + "2014-05-01,trace,20,10,3,\n", `w.csv:2:12: precipitation "trace", expected a number in mm, or nothing`},
		{"NaN", header + "2014-05-01,0,NaN,10,3,\n", `w.csv:2:14: temp_max "NaN", expected a number in °C`},
		{"infinite", header + "2014-05-01,0,20,10,Inf,\n", `wind "Inf"`},
		{"too large for a float", header + "2014-05-01,0,20,10,1e999,\n", `wind "1e999"`},
		{"absurd heat", header + "2014-05-01,0,300,10,3,\n", "w.csv:2:14: temp_max 300, expected -90 to 60 °C"},
		{"Fahrenheit", header + "2014-05-01,0,86,60,3,\n", "if the column is in °F, convert it"},
		{"negative rain", header + "2014-05-01,-1,20,10,3,\n", "w.csv:2:12: precipitation -1, expected 0 to 2000 mm"},
		{"a gale that is none", header + "2014-05-01,0,20,10,300,\n", "wind 300"},
		{"minimum over maximum", header + "2014-05-01,0,10,20,3,\n", "w.csv:2:17: temp_min 20 is over temp_max 10"},
		{"humidity over 100", "date,precipitation,temp_max,temp_min,wind,rh_max\n2014-05-01,0,20,10,3,120\n", "w.csv:2:22: rh_max 120, expected 0 to 100 %"},
		{"humidities exchanged", "date,precipitation,temp_max,temp_min,wind,rh_max,rh_min\n2014-05-01,0,20,10,3,20,80\n", "rh_min 80 is over rh_max 20"},
		{"open quote", header + "\"2014-05-01,0,20,10,3,\n", "w.csv:"},
		{"huge line", header + ok + strings.Repeat("9", 1<<20) + "\n", "w.csv:3:4097: the line is over 4096 characters"},
		{"NUL", header + "2014-05-01,0,\x00,10,3,\n", "w.csv:2:14: a NUL"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			days, _, err := weather.ReadDaily(strings.NewReader(tc.src), "w.csv", nil)
			require.Error(t, err)
			assert.Contains(t, err.Error(), tc.says)
			assert.Less(t, len(err.Error()), 500, "an error is for reading")
			assert.Nil(t, days)
		})
	}
	t.Run("a file without end", func(t *testing.T) {
		_, _, err := weather.ReadDaily(endless{}, "w.csv", nil)
		assert.ErrorContains(t, err, "over 32 MB")
	})
	t.Run("the disk fails", func(t *testing.T) {
		cause := errors.New("disk gone")
		_, _, err := weather.ReadDaily(iotest.ErrReader(cause), "w.csv", nil)
		assert.ErrorIs(t, err, cause)
	})
}

type endless struct{}

func (endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = '\n'
	}
	return len(p), nil
}

func TestReadDailyWarns(t *testing.T) {
	table := func(n int, tmax, tmin, rain, wind float64) string {
		var b strings.Builder
		b.WriteString(header)
		day := time.Date(2014, 1, 1, 0, 0, 0, 0, time.UTC)
		for range n {
			fmt.Fprintf(&b, "%s,%v,%v,%v,%v,\n", day.Format(time.DateOnly), rain, tmax, tmin, wind)
			day = day.AddDate(0, 0, 1)
		}
		return b.String()
	}
	for _, tc := range []struct{ name, src, says string }{
		{"Fahrenheit in winter", table(10, 50, 38, 1, 2), "looks like °F"},
		{"Fahrenheit in a frosty desert", table(10, 40, 10, 1, 2), "looks like °F"},
		{"no rain for ever", table(401, 30, 20, 0, 2), "no rain in 401 days"},
		{"no wind for ever", table(401, 30, 20, 1, 0), "no wind in 401 days"},
		{"unknown column", "date,precipitation,temp_max,temp_min,wind,humidity\n2014-05-01,0,20,10,3,50\n", `w.csv:1:43: column "humidity" is not used`},
	} {
		t.Run(tc.name, func(t *testing.T) {
			_, warnings, err := weather.ReadDaily(strings.NewReader(tc.src), "w.csv", nil)
			require.NoError(t, err)
			assert.Contains(t, strings.Join(warnings, "\n"), tc.says)
		})
	}
	_, warnings, err := weather.ReadDaily(strings.NewReader(table(30, 38, 22, 0, 3)), "w.csv", nil)
	require.NoError(t, err)
	assert.Empty(t, warnings, "a hot dry month is no error")
}

// write is the file that ReadDaily would read days from.
func write(days []garden.DayWeather) []byte {
	var b bytes.Buffer
	b.WriteString("date,precipitation,temp_max,temp_min,wind,wind_height,solar,sun_hours,rh_min,rh_max,rh_mean,dew_point\n")
	for _, d := range days {
		b.WriteString(d.Date.Format(time.DateOnly))
		for _, v := range []garden.Measured{d.RainMM, d.TMaxC, d.TMinC, d.WindMS, garden.Known(d.WindHeightM), d.SolarMJ, d.SunHours, d.RHMin, d.RHMax, d.RHMean, d.DewC} {
			b.WriteByte(',')
			if v.Known {
				b.WriteString(strconv.FormatFloat(v.Value, 'g', -1, 64))
			}
		}
		b.WriteByte('\n')
	}
	return b.Bytes()
}

func FuzzReadDaily(f *testing.F) {
	for _, name := range []string{"seattle-weather.csv", "new-york-weather.csv", "synthetic-heat-spell.csv"} {
		src, err := os.Open(filepath.Join("..", "..", "testdata", "weather", name))
		require.NoError(f, err)
		head, err := io.ReadAll(io.LimitReader(src, 600))
		require.NoError(f, err)
		require.NoError(f, src.Close())
		f.Add(head)
		f.Add(head[:bytes.LastIndexByte(head, '\n')+1])
	}
	f.Add([]byte("\ufeff" + header + "2014-05-01,,20,,3,\r\n"))
	f.Add([]byte("date,precipitation,temp_max,temp_min,wind,rh_mean,solar\n2014-05-01,0,20,10,3,65,21.5\n"))
	f.Fuzz(func(t *testing.T, src []byte) {
		days, _, err := weather.ReadDaily(bytes.NewReader(src), "w.csv", time.UTC)
		if err != nil {
			assert.Regexp(t, `^w\.csv:\d+:\d+: `, err.Error())
			return
		}
		require.NotEmpty(t, days)
		for i, d := range days {
			if i > 0 {
				assert.Equal(t, 24*time.Hour, d.Date.Sub(days[i-1].Date))
			}
			assert.False(t, d.TMinC.Known && d.TMaxC.Known && d.TMinC.Value > d.TMaxC.Value)
		}
		again, warnings, err := weather.ReadDaily(bytes.NewReader(write(days)), "w.csv", time.UTC)
		require.NoError(t, err)
		assert.Equal(t, days, again, "written and read again")
		for _, w := range warnings {
			assert.NotContains(t, w, "is not used")
		}
	})
}

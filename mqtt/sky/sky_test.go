package sky

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
	"fabricpot/mqtt"
	"fabricpot/mqtt/internal/contract"
	"fabricpot/mqtt/topic"
)

var noon = time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC)

func at(s float64) garden.Moment {
	d := time.Duration(s * float64(time.Second))
	return garden.Moment{Mono: time.Hour + d, Wall: noon.Add(d), Synced: true}
}

func sky(t testing.TB, in ...garden.SkyInput) *Sky {
	tr, err := topic.NewTree("", "roof")
	require.NoError(t, err)
	s, errs := New(tr, in, time.UTC)
	require.Empty(t, errs)
	return s
}

func say(s *Sky, sec float64, name, text string) {
	s.Take(mqtt.Message{Topic: name, Payload: []byte(text), At: at(sec)})
}

func TestUnits(t *testing.T) {
	// Conversions by their definitions: the mile of 1609.344 m, the nautical
	// mile of 1852 m, the inch of 25.4 mm, °F = °C·9/5 + 32.
	for _, c := range []struct {
		q    garden.SkyQuantity
		unit string
		says string
		want float64
		get  func(garden.WeatherNow) garden.Measured
	}{
		{garden.SkyTemperature, "C", "21.5", 21.5, func(w garden.WeatherNow) garden.Measured { return w.TempC }},
		{garden.SkyTemperature, "F", "86", 30, func(w garden.WeatherNow) garden.Measured { return w.TempC }},
		{garden.SkyHumidity, "%", "40", 40, func(w garden.WeatherNow) garden.Measured { return w.RH }},
		{garden.SkyWind, "km/h", "36", 10, func(w garden.WeatherNow) garden.Measured { return w.WindMS }},
		{garden.SkyWind, "mph", "10", 4.4704, func(w garden.WeatherNow) garden.Measured { return w.WindMS }},
		{garden.SkyWind, "kn", "36", 18.52, func(w garden.WeatherNow) garden.Measured { return w.WindMS }},
		{garden.SkyWind, "m/s", "3", 3, func(w garden.WeatherNow) garden.Measured { return w.WindMS }},
		{garden.SkyRadiation, "W/m2", "-3", 0, func(w garden.WeatherNow) garden.Measured { return w.SolarWM }},
		{garden.SkyRain, "in", "0.5", 12.7, func(w garden.WeatherNow) garden.Measured { return w.RainMM }},
	} {
		s := sky(t, garden.SkyInput{Topic: "s", Quantity: c.q, Unit: c.unit})
		say(s, 0, "s", c.says)
		got := c.get(s.Now(at(1)))
		require.True(t, got.Known, "%s %s", c.q, c.unit)
		assert.InDelta(t, c.want, got.Value, 1e-9, "%s %s", c.q, c.unit)
	}
	tr, _ := topic.NewTree("", "roof")
	_, errs := New(tr, []garden.SkyInput{{Topic: "s", Quantity: garden.SkyWind, Unit: "C"}, {Topic: "s", Quantity: "mood", Unit: "%"}, {Topic: "s/#", Quantity: garden.SkyHumidity, Unit: "%"}, {Topic: "s", Path: "x", Quantity: garden.SkyHumidity, Unit: "%"}, {Quantity: garden.SkyHumidity, Unit: "%"}}, nil)
	assert.Len(t, errs, 5)
}

func TestWrongUnitsAndRubbishAreRefused(t *testing.T) {
	s := sky(t, garden.SkyInput{Topic: "t", Quantity: garden.SkyTemperature, Unit: "C"}, garden.SkyInput{Topic: "j", Path: "/out/0/rh", Quantity: garden.SkyHumidity, Unit: "%"})
	assert.Equal(t, []string{"t", "j"}, s.Filters())
	n := uint64(0)
	for _, bad := range []struct{ topic, text string }{{"t", "86"}, {"t", "NaN"}, {"t", ""}, {"t", `"20"`}, {"t", "1e999"}, {"j", "40"}, {"j", `{"out":[{"rh":"40"}]}`}, {"j", `{"out":[]}`}, {"j", `{"out":[{"rh":140}]}`}} {
		say(s, 0, bad.topic, bad.text)
		n++
		got, why := s.Refused()
		assert.Equal(t, n, got, bad.text)
		assert.Contains(t, why, "weather on "+bad.topic)
	}
	assert.Equal(t, garden.WeatherNow{At: at(1)}, s.Now(at(1)), "nothing was let in")
	say(s, 0, "j", `{"out":[{"rh":40}],"more":{}}`)
	assert.Equal(t, 40.0, s.Now(at(1)).RH.Value)
}

func TestAge(t *testing.T) {
	s := sky(t, garden.SkyInput{Topic: "t", Quantity: garden.SkyTemperature, Unit: "C"})
	s.Take(mqtt.Message{Topic: "t", Payload: []byte("20"), Retain: true, At: at(0)})
	assert.False(t, s.Now(at(0)).TempC.Known, "retained: of any age")
	say(s, 0, "t", "20")
	assert.True(t, s.Now(at(1800)).TempC.Known)
	assert.False(t, s.Now(at(1801)).TempC.Known)
}

func TestRainCountsOnce(t *testing.T) {
	s := sky(t, garden.SkyInput{Topic: "r", Quantity: garden.SkyRain, Unit: "mm"})
	assert.False(t, s.Now(at(0)).RainMM.Known, "no rain gauge has spoken: unknown, not dry")
	say(s, 0, "r", "0.2")
	say(s, 1, "r", "0.3")
	s.Take(mqtt.Message{Topic: "r", Payload: []byte("5"), Duplicate: true, At: at(1)})
	s.Take(mqtt.Message{Topic: "r", Payload: []byte("5"), Retain: true, At: at(1)})
	assert.InDelta(t, 0.5, s.Now(at(2)).RainMM.Value, 1e-12)
	assert.False(t, s.Now(at(3)).RainMM.Known)
	c := sky(t, garden.SkyInput{Topic: "c", Quantity: garden.SkyRainTotal, Unit: "mm"})
	for i, v := range []string{"100", "101.5", "101.5", "0.4", "1e9"} {
		say(c, float64(i), "c", v)
	}
	assert.InDelta(t, 1.9, c.Now(at(9)).RainMM.Value, 1e-9, "the first value is the beginning, a smaller one a new one, a leap no rain")
	n, _ := c.Refused()
	assert.Equal(t, uint64(1), n)
}

func TestDays(t *testing.T) {
	s := sky(t, garden.SkyInput{Quantity: garden.SkyDays})
	require.Equal(t, []string{"fabricpot/roof/weather/days"}, s.Filters())
	text := `{"days":[{"date":"2026-06-30","t_max_c":30},{"date":"2026-07-01","t_min_c":19,"t_max_c":33.5,"rain_mm":0},{"date":"2026-07-02","rain_mm":12,"service":"x"}]}`
	contract.Fits(t, "weather-days", text)
	s.Take(mqtt.Message{Topic: s.Filters()[0], Payload: []byte(text), Retain: true, At: at(0)})
	d := s.Days(at(0))
	require.Len(t, d, 2, "yesterday is over")
	assert.Equal(t, garden.Known(33.5), d[0].TMaxC)
	assert.Equal(t, garden.Known(0), d[0].RainMM)
	assert.False(t, d[1].TMaxC.Known)
	assert.Empty(t, s.Days(at(37*3600)), "too old")
	unsure := at(0)
	unsure.Synced = false
	assert.Empty(t, s.Days(unsure), "nobody knows which day it is")
	for _, bad := range []string{`{}`, `{"days":[]}`, `[]`, `{"days":[{"date":"1.7.2026"}]}`, `{"days":[{"date":"2026-07-02"},{"date":"2026-07-01"}]}`, `{"days":[{"date":"2026-07-01","t_min_c":30,"t_max_c":20}]}`,
		`{"days":[{"date":"2026-07-01","t_max_c":92}]}`, `{"days":[{"date":"2026-07-01","rain_mm":"3"}]}`, `{"days":[` + strings.Repeat(`{"date":"2026-07-01"},`, 20) + `{"date":"2026-07-01"}]}`} {
		_, err := decodeDays([]byte(bad), time.UTC)
		assert.Error(t, err, bad)
	}
}

func FuzzSky(f *testing.F) {
	f.Add([]byte("21"))
	f.Add([]byte(`{"days":[{"date":"2026-07-01","t_max_c":33}]}`))
	f.Add([]byte(`{"a":[1e308]}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		s := sky(t, garden.SkyInput{Topic: "x", Quantity: garden.SkyTemperature, Unit: "F"}, garden.SkyInput{Topic: "x", Quantity: garden.SkyRainTotal, Unit: "in"}, garden.SkyInput{Topic: "x", Quantity: garden.SkyDays}, garden.SkyInput{Topic: "x", Path: "/a/0", Quantity: garden.SkyWind, Unit: "kn"})
		say(s, 0, "x", "0")
		say(s, 0, "x", string(b))
		w := s.Now(at(0))
		for _, m := range []garden.Measured{w.TempC, w.WindMS, w.RainMM} {
			if !garden.Finite(m.Value) || m.Value > maxRain || m.Value < -60 {
				t.Fatalf("%+v from %q", w, b)
			}
		}
		s.Days(at(0))
	})
}

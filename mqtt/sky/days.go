package sky

import (
	"fmt"
	"time"

	"fabricpot/control/garden"
	"fabricpot/mqtt"
	"fabricpot/mqtt/payload"
)

// wireDays is a forecast as it arrives. Its units are in its keys.
type wireDays struct {
	Days []wireDay `json:"days"`
}

type wireDay struct {
	Date    string   `json:"date"`
	TMinC   *float64 `json:"t_min_c"`
	TMaxC   *float64 `json:"t_max_c"`
	RainMM  *float64 `json:"rain_mm"`
	WindMS  *float64 `json:"wind_m_s"`
	SolarMJ *float64 `json:"solar_mj_m2"`
	Sun     *float64 `json:"sun_h"`
	RHMin   *float64 `json:"rh_min_percent"`
	RHMax   *float64 `json:"rh_max_percent"`
}

// maxDays bounds a forecast.
const maxDays = 16

func (s *Sky) takeDays(m mqtt.Message) error {
	days, err := decodeDays(m.Payload, s.zone)
	if err != nil {
		return err
	}
	s.days, s.daysAt = days, m.At
	return nil
}

func decodeDays(b []byte, zone *time.Location) ([]garden.DayWeather, error) {
	var w wireDays
	if err := payload.Lenient(b, &w); err != nil {
		return nil, err
	}
	if len(w.Days) == 0 || len(w.Days) > maxDays {
		return nil, fmt.Errorf("forecast of %d days, expected 1 to %d", len(w.Days), maxDays)
	}
	var out []garden.DayWeather
	for i, d := range w.Days {
		date, err := time.ParseInLocation(time.DateOnly, d.Date, zone)
		if err != nil {
			return nil, fmt.Errorf("day %d: date %.20q, expected one like 2026-07-01", i+1, d.Date)
		}
		if i > 0 && !date.After(out[i-1].Date) {
			return nil, fmt.Errorf("day %d: %s does not follow %s", i+1, d.Date, w.Days[i-1].Date)
		}
		g := garden.DayWeather{Date: date}
		for _, f := range []struct {
			name   string
			from   *float64
			to     *garden.Measured
			lo, hi float64
		}{
			{"t_min_c", d.TMinC, &g.TMinC, -60, 60}, {"t_max_c", d.TMaxC, &g.TMaxC, -60, 60},
			{"rain_mm", d.RainMM, &g.RainMM, 0, 2000}, {"wind_m_s", d.WindMS, &g.WindMS, 0, 90},
			{"solar_mj_m2", d.SolarMJ, &g.SolarMJ, 0, 50}, {"sun_h", d.Sun, &g.SunHours, 0, 24},
			{"rh_min_percent", d.RHMin, &g.RHMin, 0, 100}, {"rh_max_percent", d.RHMax, &g.RHMax, 0, 100},
		} {
			if f.from == nil {
				continue
			}
			if v := *f.from; !(v >= f.lo && v <= f.hi) {
				return nil, fmt.Errorf("day %d: %s is %.4g, expected %g to %g", i+1, f.name, v, f.lo, f.hi)
			}
			*f.to = garden.Known(*f.from)
		}
		if g.TMinC.Known && g.TMaxC.Known && g.TMinC.Value > g.TMaxC.Value || g.RHMin.Known && g.RHMax.Known && g.RHMin.Value > g.RHMax.Value {
			return nil, fmt.Errorf("day %d: a minimum is above its maximum", i+1)
		}
		out = append(out, g)
	}
	return out, nil
}

// Days are the forecast's days that are not over yet, nearest first; nothing
// where the forecast is too old or the clock not certain.
func (s *Sky) Days(now garden.Moment) []garden.DayWeather {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.days) == 0 || !now.Synced || now.Since(s.daysAt) > MaxDayAge {
		return nil
	}
	today := now.Wall.In(s.zone).Format(time.DateOnly)
	for i, d := range s.days {
		if d.Date.Format(time.DateOnly) >= today {
			return append([]garden.DayWeather(nil), s.days[i:]...)
		}
	}
	return nil
}

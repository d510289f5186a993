package season

import (
	"time"

	"fabricpot/control/garden"
	"fabricpot/control/weather"
	"fabricpot/sim/terrace"
)

// daysAhead is how far the bench's forecast reaches.
const daysAhead = 2

// sky tells the loop the simulated weather: today's row, the following days as
// their forecast, and what a sensor on the terrace says now.
type sky struct {
	soil *terrace.Terrace
	rows []garden.DayWeather
	at   int
	// gauged tells that rain is measured by a gauge of the garden's own.
	gauged bool
}

// Observe fills in the weather of a tick.
func (s *sky) Observe(now garden.Moment, obs *garden.Observed) {
	obs.Today = s.soil.Day()
	obs.Now = s.soil.Weather()
	obs.Now.At = now
	if s.gauged {
		obs.Now.RainMM = garden.Measured{}
	}
	// Rows are in order and ticks go forward.
	for s.at < len(s.rows) && !s.rows[s.at].Date.After(obs.Today.Date) {
		s.at++
	}
	obs.Ahead = s.rows[s.at:min(len(s.rows), s.at+daysAhead)]
}

// Covered reports whether rows have every day from from to to, both included,
// and otherwise the first day that is missing.
func Covered(rows []garden.DayWeather, from, to time.Time) (missing time.Time, ok bool) {
	have := make(map[string]bool, len(rows))
	for _, r := range rows {
		have[r.Date.Format(time.DateOnly)] = true
	}
	for d := from; !d.After(to); d = d.AddDate(0, 0, 1) {
		if !have[d.Format(time.DateOnly)] {
			return d, false
		}
	}
	return time.Time{}, true
}

// penman is what the terrace's plants lose by the day's weather: FAO-56
// Penman-Monteith on all that the row knows. What each pot makes of it stays the
// terrace's secret.
//
// Measured when the controller went from Hargreaves to Penman-Monteith and the
// terrace with it (example terrace without feeds, Seattle, 1 May to 30 September
// 2014): hours in stress 0 before and after; share of irrigation drained 0.59 and
// 1.56 % before, 0.49 and 1.42 % after (seeds 1 and 2). In the synthetic heat
// spell: no stress before and after, 0.53 % drained before, 0 % after.
func penman(site garden.Site) func(garden.DayWeather) float64 {
	place := weather.PlaceOf(site)
	return func(d garden.DayWeather) float64 {
		e, err := weather.Daily(place, d)
		if err != nil {
			e, _ = weather.HargreavesDaily(place, garden.DayWeather{Date: d.Date, TMinC: d.TMinC, TMaxC: d.TMaxC})
		}
		return e.MM
	}
}

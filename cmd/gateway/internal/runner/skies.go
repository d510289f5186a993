package runner

import (
	"time"

	"fabricpot/control/garden"
	"fabricpot/control/weather"
)

// UsualSky stands in where no weather comes in: the usual day for the place and
// season. It knows of no rain, so rain only ever helps.
type UsualSky struct {
	place weather.Place
	day   time.Time
	today garden.DayWeather
}

// NewUsualSky returns the usual weather of a site.
func NewUsualSky(s garden.Site) *UsualSky { return &UsualSky{place: weather.PlaceOf(s)} }

// Observe fills in today's usual weather, once the date is known.
func (u *UsualSky) Observe(now garden.Moment, obs *garden.Observed) {
	obs.Now = garden.WeatherNow{At: now}
	obs.Ahead = obs.Ahead[:0]
	if !now.Synced {
		obs.Today = garden.DayWeather{}
		return
	}
	y, m, d := now.Wall.Date()
	day := time.Date(y, m, d, 0, 0, 0, 0, now.Wall.Location())
	if !day.Equal(u.day) {
		u.day, u.today = day, weather.UsualDay(u.place, day)
	}
	obs.Today = u.today
}

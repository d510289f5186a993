package weather

import (
	"math"
	"time"

	"fabricpot/control/garden"
)

// UsualDay is a rough guess at a day's temperatures where nothing at all is
// known: by latitude, season and elevation. It is judgement shaped after the
// Earth's zonal means (28 °C at the equator, some 15 °C at 40°, below freezing
// at the polar circles; a yearly swing that grows with latitude, with the
// warmest days a month after the solstice, smaller on a coast; 6.5 °C less per
// 1000 m). One place may well be 6 °C off. Only temperatures are given.
func UsualDay(p Place, date time.Time) garden.DayWeather {
	swing, span := 0.27*math.Abs(p.LatDeg), 11.0
	if p.Coastal {
		swing, span = 0.22*math.Abs(p.LatDeg), 8.5
	}
	warmest := 202.0
	if p.LatDeg < 0 {
		warmest -= 365.25 / 2
	}
	season := math.Cos(2 * math.Pi * (float64(date.YearDay()) - warmest) / 365.25)
	mean := 28 - 0.008*p.LatDeg*p.LatDeg + swing*season - 0.0065*p.ElevationM
	mean = min(max(mean, -60), 40)
	return garden.DayWeather{
		Date:  date,
		TMinC: garden.Known(mean - span/2), TMaxC: garden.Known(mean + span/2),
	}
}

// temperatures fills a day's extremes, from one of them and the usual span, or
// from the usual climate.
func temperatures(p Place, d garden.DayWeather) (tmin, tmax float64, estimated string) {
	usual := UsualDay(p, d.Date)
	span := usual.TMaxC.Value - usual.TMinC.Value
	switch {
	case d.TMinC.Known && d.TMaxC.Known:
		return d.TMinC.Value, d.TMaxC.Value, ""
	case d.TMinC.Known:
		return d.TMinC.Value, d.TMinC.Value + span, EstMaximum
	case d.TMaxC.Known:
		return d.TMaxC.Value - span, d.TMaxC.Value, EstMinimum
	}
	return usual.TMinC.Value, usual.TMaxC.Value, EstTemperature
}

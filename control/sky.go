package control

import (
	"math"
	"time"

	"fabricpot/control/garden"
	"fabricpot/control/weather"
)

const (
	// nightShare of a day's evapotranspiration happens outside daylight.
	nightShare = 0.06
	// The longest day of the hemisphere stands for a day nobody knows.
	solsticeNorth, solsticeSouth = 172, 355
	// trustYesterday is for how many days yesterday's figure stands in where
	// no temperature comes in any more; then the usual day does.
	trustYesterday = 3
)

// sky is what the weather asks of the plants today and tomorrow.
type sky struct {
	today, ahead garden.DayWeather
	day          int64 // civil day number the figures are for, 0 unknown
	synced       bool
	etoMM        float64
	nextMM       float64
	eto          weather.ETo // what today's figure was made of
	heardOn      int64       // civil day the last temperatures were for
	rainAheadMM  float64
	// Of the sun, solar hours: sunrise and day length.
	riseH, lengthH float64
	// behind is spent at every stepH of the day, filled where tabled: each zone
	// asks four times a tick by when a share of the day is behind.
	behind [1<<tableBits + 1]float64
	tabled bool
}

// tableBits is how many of hourOf's halvings the table answers.
const tableBits = 10

const stepH = 24.0 / (1 << tableBits)

// refresh brings the day's figures up to date; it reports whether the day or
// the weather changed.
func (s *sky) refresh(p *Plan, now garden.Moment, obs *garden.Observed) bool {
	day := int64(0)
	if now.Synced {
		day = civilDay(now.Wall)
	}
	var ahead garden.DayWeather
	if len(obs.Ahead) > 0 {
		ahead = obs.Ahead[0]
	}
	if s.etoMM > 0 && day == s.day && obs.Today == s.today && ahead == s.ahead {
		return false
	}
	s.day, s.today, s.ahead, s.synced = day, obs.Today, ahead, now.Synced
	date := dateOf(p, now, obs)
	s.riseH, s.lengthH = sun(p.site.LatDeg, date.YearDay())
	for i := range s.behind {
		s.behind[i] = s.spent(float64(i) * stepH)
	}
	s.tabled = true
	if known := obs.Today.TMinC.Known || obs.Today.TMaxC.Known; known || s.etoMM == 0 || day-s.heardOn > trustYesterday {
		s.eto = Reference(p.place, date, obs.Today)
		s.etoMM = s.eto.MM
		if known {
			s.heardOn = day
		}
	}
	s.nextMM = s.etoMM
	s.rainAheadMM = obs.Today.RainMM.Or(0)
	if len(obs.Ahead) > 0 {
		if ahead.TMinC.Known || ahead.TMaxC.Known {
			s.nextMM = Reference(p.place, date.AddDate(0, 0, 1), ahead).MM
		}
		s.rainAheadMM += ahead.RainMM.Or(0)
	}
	return true
}

// dateOf is the civil date, or one that stands in for it while nobody knows it.
func dateOf(p *Plan, now garden.Moment, obs *garden.Observed) time.Time {
	switch {
	case now.Synced:
		return now.Wall
	case !obs.Today.Date.IsZero():
		return obs.Today.Date
	case p.site.LatDeg < 0:
		return time.Date(2001, 1, solsticeSouth, 0, 0, 0, 0, time.UTC)
	}
	return time.Date(2001, 1, solsticeNorth, 0, 0, 0, 0, time.UTC)
}

// Reference is the reference evapotranspiration a day is reckoned with, 0.1 to
// 15 mm, with the method and what was estimated: FAO-56 Penman-Monteith where
// wind, humidity, radiation or sunshine is known besides the temperatures,
// Hargreaves-Samani where temperatures alone are, Penman-Monteith on the place's
// usual day where nothing is, or where what is given can't be.
func Reference(place weather.Place, date time.Time, d garden.DayWeather) weather.ETo {
	d.Date = date
	more := d.WindMS.Known || d.SolarMJ.Known || d.SunHours.Known || d.DewC.Known ||
		d.RHMean.Known || d.RHMin.Known && d.RHMax.Known || d.RHMax.Known
	method := weather.Daily
	if !more && d.TMinC.Known && d.TMaxC.Known {
		method = weather.HargreavesDaily
	}
	e, err := method(place, d)
	if err != nil {
		// One impossible figure must not cost the others their use.
		e, err = weather.HargreavesDaily(place, garden.DayWeather{Date: date, TMinC: d.TMinC, TMaxC: d.TMaxC})
	}
	if err != nil {
		e, err = weather.Daily(place, weather.UsualDay(place, date))
		e.Method, e.Estimated = weather.UsualClimate, append(e.Estimated, weather.EstTemperature)
	}
	if err != nil || !garden.Finite(e.MM) {
		e = weather.ETo{MM: guessMM, Method: weather.UsualClimate}
	}
	e.MM = min(max(e.MM, 0.1), 15)
	return e
}

// guessMM is a warm summer day's, on the safe side for a plant, where not even
// the place makes sense.
const guessMM = 5

// sun gives sunrise and day length in solar hours (FAO-56 eqs. 24, 25, 34).
func sun(latDeg float64, doy int) (rise, length float64) {
	dec := 0.409 * math.Sin(2*math.Pi*float64(doy)/365-1.39)
	c := -math.Tan(latDeg*math.Pi/180) * math.Tan(dec)
	length = 24 / math.Pi * math.Acos(min(max(c, -1), 1))
	return 12 - length/2, length
}

// solarHour is the solar time of day in hours, 0..24.
func solarHour(p *Plan, now garden.Moment) float64 {
	s := now.Wall.Unix()
	h := float64(s)/3600 + p.site.LonDeg/15
	if whole := 24 * math.Floor(h/24); h > 0 && whole <= h {
		// What math.Mod comes to, which takes it bit by bit: nothing is rounded.
		return h - whole
	}
	if h = math.Mod(h, 24); h < 0 {
		h += 24
	}
	return h
}

// spent is the share of a day's evapotranspiration behind at solar hour h,
// 0..1: a half sine by day and a little by night. Without a clock it is even.
func (s *sky) spent(h float64) float64 {
	if !s.synced || s.lengthH < 1 || s.lengthH > 23 {
		return h / 24
	}
	x := min(max((h-s.riseH)/s.lengthH, 0), 1)
	return nightShare*h/24 + (1-nightShare)*(1-math.Cos(math.Pi*x))/2
}

// between is the evapotranspiration from solar hour a of today to a+hours, mm.
func (s *sky) between(a, hours float64) float64 {
	if hours <= 0 {
		return 0
	}
	end := a + hours
	if end <= 24 {
		return s.etoMM * (s.spent(end) - s.spent(a))
	}
	mm := s.etoMM * (1 - s.spent(a))
	days := math.Floor(end / 24)
	return mm + s.nextMM*(days-1+s.spent(end-24*days))
}

// before is the evapotranspiration of the hours up to solar hour h of today, mm. Days
// before today are as today.
func (s *sky) before(h, hours float64) float64 {
	mm := s.between(h-min(hours, h), min(hours, h))
	if more := hours - h; more > 0 {
		whole := math.Floor(more / 24)
		mm += s.etoMM * (whole + 1 - s.spent(24*(whole+1)-more))
	}
	return mm
}

// until is how many hours pass from solar hour a until mm have evaporated;
// at most ten days.
func (s *sky) until(a, mm float64) float64 {
	if mm <= 0 {
		return 0
	}
	// From the midnight before.
	mm += s.etoMM * s.spent(a)
	if mm <= s.etoMM {
		return max(0, s.hourOf(mm/s.etoMM)-a)
	}
	mm -= s.etoMM
	if s.nextMM <= 0 || mm >= s.nextMM*mostHours/24 {
		return mostHours
	}
	days := math.Floor(mm / s.nextMM)
	return min(24*(1+days)+s.hourOf(mm/s.nextMM-days)-a, mostHours)
}

// hourOf is the solar hour by which a share of the day's evapotranspiration is
// behind, to a few seconds.
func (s *sky) hourOf(share float64) float64 {
	lo, hi, halvings := 0.0, 24.0, 14
	// from and to are what is spent by lo and hi.
	var from, to float64
	if s.tabled {
		// The hours of the table are those that halving the day comes by, to the
		// last bit.
		a := 0
		for step := 1 << (tableBits - 1); step > 0; step >>= 1 {
			if mid := a + step; s.behind[mid] < share {
				a = mid
			}
		}
		lo, hi, halvings = float64(a)*stepH, float64(a+1)*stepH, halvings-tableBits
		from, to = s.behind[a], s.behind[a+1]
	} else {
		from, to = s.spent(lo), s.spent(hi)
	}
	for range halvings {
		mid := (lo + hi) / 2
		if by := s.spent(mid); by < share {
			lo, from = mid, by
		} else {
			hi, to = mid, by
		}
	}
	// What is left is as good as straight.
	if to <= from {
		return hi
	}
	return lo + (hi-lo)*min(max((share-from)/(to-from), 0), 1)
}

// bareMM is the area, m², that evaporates like a reference crop would besides
// the canopy: the mix's surface where leaves do not shade it, and the fabric
// wall. Judgement: no published coefficient for fabric walls is known.
func (z *ZonePlan) bareMM(canopyM2, mulch float64) float64 {
	cover := 0.0
	if z.AreaM2 > 0 {
		cover = min(canopyM2/z.AreaM2, 1)
	}
	return surfaceShare*z.AreaM2*(1-0.8*cover)*(1-mulchKeeps*mulch) + wallShare*z.WallM2
}

const (
	surfaceShare = 0.9
	wallShare    = 0.15
)

// mostHours is as far ahead as a forecast of hours looks.
const mostHours = 240

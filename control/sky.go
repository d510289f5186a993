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
	// Guesses where no temperature was ever heard of, °C: a warm summer day,
	// on the safe side for a plant.
	guessMinC, guessMaxC = 17, 30
	// solsticeDay stands for a day nobody knows: the longest of the hemisphere.
	solsticeNorth, solsticeSouth = 172, 355
)

// sky is what the weather asks of the plants today and tomorrow.
type sky struct {
	today, ahead garden.DayWeather
	hasToday     bool
	day          int64 // civil day number the figures are for, 0 unknown
	synced       bool
	etoMM        float64
	nextMM       float64
	rainAheadMM  float64
	// Of the sun, solar hours: sunrise and day length.
	riseH, lengthH float64
}

// refresh brings the day's figures up to date; it reports whether the day or
// the weather changed.
func (s *sky) refresh(p *Plan, now garden.Moment, obs *garden.Observed) bool {
	day := int64(0)
	if now.Synced {
		y, m, d := now.Wall.Date()
		day = time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Unix() / 86400
	}
	var ahead garden.DayWeather
	if len(obs.Ahead) > 0 {
		ahead = obs.Ahead[0]
	}
	if s.etoMM > 0 && day == s.day && obs.Today == s.today && ahead == s.ahead {
		return false
	}
	s.day, s.today, s.ahead, s.synced = day, obs.Today, ahead, now.Synced
	doy := dayOfYear(p, now, obs)
	s.riseH, s.lengthH = sun(p.site.LatDeg, doy)
	s.etoMM = reference(p, doy, obs.Today, s.etoMM)
	s.nextMM = s.etoMM
	s.rainAheadMM = obs.Today.RainMM.Or(0)
	if len(obs.Ahead) > 0 {
		s.nextMM = reference(p, doy%365+1, ahead, s.etoMM)
		s.rainAheadMM += ahead.RainMM.Or(0)
	}
	return true
}

func dayOfYear(p *Plan, now garden.Moment, obs *garden.Observed) int {
	switch {
	case now.Synced:
		return now.Wall.YearDay()
	case !obs.Today.Date.IsZero():
		return obs.Today.Date.YearDay()
	case p.site.LatDeg < 0:
		return solsticeSouth
	}
	return solsticeNorth
}

// reference is the day's reference evapotranspiration by Hargreaves, mm, from
// what is known of its temperatures; last is yesterday's figure, 0 for none.
func reference(p *Plan, doy int, d garden.DayWeather, last float64) float64 {
	lo, hi := d.TMinC, d.TMaxC
	if !lo.Known || !hi.Known || hi.Value < lo.Value {
		if last > 0 {
			return last
		}
		lo, hi = garden.Known(guessMinC), garden.Known(guessMaxC)
	}
	mm := weather.HargreavesMM(lo.Value, hi.Value, weather.ExtraterrestrialRadiation(p.site.LatDeg, doy))
	if !garden.Finite(mm) {
		return max(last, 0.1)
	}
	return min(max(mm, 0.1), 15)
}

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
	h := math.Mod(float64(s)/3600+p.site.LonDeg/15, 24)
	if h < 0 {
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

// until is how many hours pass from solar hour a until mm have evaporated;
// at most ten days.
func (s *sky) until(a, mm float64) float64 {
	if mm <= 0 {
		return 0
	}
	if s.between(a, mostHours) <= mm {
		return mostHours
	}
	lo, hi := 0.0, float64(mostHours)
	for range 40 {
		mid := (lo + hi) / 2
		if s.between(a, mid) < mm {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}

// bareMM is the area, m², that evaporates like a reference crop would besides
// the canopy: the mix's surface where leaves do not shade it, and the fabric
// wall. Judgement: no published coefficient for fabric walls is known.
func (z *ZonePlan) bareMM(canopyM2 float64) float64 {
	cover := 0.0
	if z.AreaM2 > 0 {
		cover = min(canopyM2/z.AreaM2, 1)
	}
	return surfaceShare*z.AreaM2*(1-0.8*cover) + wallShare*z.WallM2
}

const (
	surfaceShare = 0.6
	wallShare    = 0.1
)

// grow sets what the plants of the zone are today.
func (p *Plan) grow(z *ZonePlan, zs *zoneState, now garden.Moment) {
	canopy, use, root := 0.0, 0.0, 0.0
	for i := range z.plants {
		pl := &z.plants[i]
		// A plant of unknown age is taken as grown: it drinks the most.
		g := pl.crop.Grown()
		if now.Synced && !pl.plantedOn.IsZero() {
			days := now.Wall.Sub(pl.plantedOn).Hours() / 24
			if days < 0 {
				continue
			}
			g = pl.crop.At(days)
		}
		m2 := g.CanopyM2
		if own := pl.canopyM2; own.Known && pl.crop.CanopyM2 > 0 {
			m2 *= own.Value / pl.crop.CanopyM2
		}
		canopy += m2 * pl.count
		use += g.Kc * m2 * pl.count
		root = max(root, g.RootFraction)
	}
	if len(z.plants) == 0 {
		root = 1
	}
	zs.canopyM2 = canopy
	zs.root = min(max(root, 0.1), 1)
	zs.band = z.band(zs.root)
	zs.lossPerMM = (use + z.bareMM(canopy)) * z.exposure
}

// mostHours is as far ahead as a forecast of hours looks.
const mostHours = 240

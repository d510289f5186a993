package terrace

import (
	"fmt"
	"math"
	"sort"
	"time"

	"fabricpot/control/garden"
	"fabricpot/control/weather"
)

// block is how long forcing stays constant; blocks are counted from midnight.
const block = 10 * time.Minute

const maxBlocks = 25 * int(time.Hour/block)

// sky makes the weather of any moment from daily rows: temperature between the
// day's extremes, sunshine by the sun's height, rain in hours chosen by the seed.
type sky struct {
	site garden.Site
	seed uint64
	eto  func(garden.DayWeather) float64
	rows []garden.DayWeather
	keys []int
	day  dayPlan
}

// dayPlan is one civil day worked out.
type dayPlan struct {
	row        garden.DayWeather
	start, end time.Time
	number     int // days since the calendar's origin
	etoMM      float64
	solarMJ    float64
	sunrise    float64 // h after solar midnight
	begins     float64 // h after the day's own solar midnight nearest its beginning
	vapour     float64 // of the dew point, kPa
	blocks     int
	// share of the day's sunshine, and rain in mm, per block.
	sun, rain [maxBlocks]float64
	// the evening before and the morning after, for a curve without steps.
	tMaxBefore, tMinAfter float64
}

// dayKey numbers civil days.
func dayKey(t time.Time) int {
	y, m, d := t.Date()
	return int(time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Unix() / 86400)
}

func newSky(site garden.Site, o Options) (*sky, error) {
	s := &sky{site: site, seed: o.Seed, eto: o.ETo}
	if s.site.Zone == nil {
		s.site.Zone = time.UTC
	}
	if len(o.Weather) == 0 {
		return nil, fmt.Errorf("terrace: no weather: give daily rows, or make some with FairWeather")
	}
	var last garden.DayWeather
	for _, r := range o.Weather {
		if r.TMinC.Known && r.TMaxC.Known {
			last = r
			break
		}
	}
	if !last.TMaxC.Known {
		return nil, fmt.Errorf("terrace: %d rows of weather and none with both temperatures: at least one is needed", len(o.Weather))
	}
	for i, r := range o.Weather {
		if !r.TMinC.Known || !r.TMaxC.Known {
			r.TMinC, r.TMaxC = last.TMinC, last.TMaxC
		}
		if r.TMinC.Value > r.TMaxC.Value {
			return nil, fmt.Errorf("terrace: weather of %s: minimum %v °C over maximum %v °C",
				r.Date.Format(time.DateOnly), r.TMinC.Value, r.TMaxC.Value)
		}
		if r.RainMM.Or(0) < 0 {
			return nil, fmt.Errorf("terrace: weather of %s: rain of %v mm, expected 0 or more", r.Date.Format(time.DateOnly), r.RainMM.Value)
		}
		k := dayKey(r.Date)
		if i > 0 && k <= s.keys[i-1] {
			return nil, fmt.Errorf("terrace: weather of %s comes after a later or equal day: sort the rows", r.Date.Format(time.DateOnly))
		}
		s.rows, s.keys = append(s.rows, r), append(s.keys, k)
		last = r
	}
	if s.eto == nil {
		s.eto = func(d garden.DayWeather) float64 {
			ra := weather.ExtraterrestrialRadiation(site.LatDeg, d.Date.YearDay())
			return weather.HargreavesMM(d.TMinC.Value, d.TMaxC.Value, ra)
		}
	}
	return s, nil
}

// row is the weather of a civil day; outside the rows the nearest earlier one
// stands in, dry.
func (s *sky) row(date time.Time) garden.DayWeather {
	k := dayKey(date)
	i := sort.SearchInts(s.keys, k)
	if i < len(s.keys) && s.keys[i] == k {
		return s.rows[i]
	}
	r := s.rows[max(0, i-1)]
	r.Date, r.RainMM = date, garden.Known(0)
	return r
}

// plan works out the civil day that holds t.
func (s *sky) plan(t time.Time) {
	t = t.In(s.site.Zone)
	y, m, d := t.Date()
	p := &s.day
	*p = dayPlan{
		start: time.Date(y, m, d, 0, 0, 0, 0, s.site.Zone),
		end:   time.Date(y, m, d+1, 0, 0, 0, 0, s.site.Zone),
	}
	p.row = s.row(p.start)
	p.number = dayKey(p.start)
	p.tMaxBefore = s.row(p.start.AddDate(0, 0, -1)).TMaxC.Value
	p.tMinAfter = s.row(p.start.AddDate(0, 0, 1)).TMinC.Value
	p.etoMM = max(0, s.eto(p.row))
	ra := weather.ExtraterrestrialRadiation(s.site.LatDeg, p.start.YearDay())
	k := 0.16
	if s.site.Coastal {
		k = 0.19
	}
	if p.begins = s.solarHour(p.start); p.begins > 12 {
		p.begins -= 24
	}
	p.vapour = saturated(p.row.DewC.Or(p.row.TMinC.Value))
	// FAO-56 eq. 50, at most a clear sky's.
	p.solarMJ = p.row.SolarMJ.Or(math.Min(0.75*ra, k*math.Sqrt(p.row.TMaxC.Value-p.row.TMinC.Value)*ra))
	p.blocks = min(maxBlocks, int((p.end.Sub(p.start)+block-1)/block))
	s.spreadSun(p)
	s.spreadRain(p)
}

// solarHour is the hour of the sun, 0..24, 12 when it is highest (to within the
// equation of time, a quarter of an hour).
func (s *sky) solarHour(t time.Time) float64 {
	u := t.UTC()
	h := float64(u.Hour()) + float64(u.Minute())/60 + float64(u.Second())/3600 + s.site.LonDeg/15
	return math.Mod(h+48, 24)
}

func (s *sky) spreadSun(p *dayPlan) {
	lat := s.site.LatDeg * math.Pi / 180
	decl := 0.409 * math.Sin(2*math.Pi/365*float64(p.start.YearDay())-1.39)
	p.sunrise = 12 - weather.DaylightHours(s.site.LatDeg, p.start.YearDay())/2
	var sum float64
	for i := range p.blocks {
		mid := p.start.Add(time.Duration(i)*block + block/2)
		angle := (s.solarHour(mid) - 12) * math.Pi / 12
		high := math.Sin(lat)*math.Sin(decl) + math.Cos(lat)*math.Cos(decl)*math.Cos(angle)
		p.sun[i] = math.Max(0, high)
		sum += p.sun[i]
	}
	for i := range p.blocks {
		if sum > 0 {
			p.sun[i] /= sum
		} else {
			p.sun[i] = 1 / float64(p.blocks)
		}
	}
}

// spreadRain puts the day's rain into one or two spells of hours.
func (s *sky) spreadRain(p *dayPlan) {
	mm := p.row.RainMM.Or(0)
	if !(mm > 0) {
		return
	}
	r := stream(s.seed, forRain, 0, p.number)
	hours := p.blocks * int(block/time.Minute) / 60
	var weight [25]float64
	var sum float64
	for range 1 + r.IntN(2) {
		length := 1 + r.IntN(1+min(10, int(mm/1.5)+1))
		from := r.IntN(hours)
		for h := from; h < min(hours, from+length); h++ {
			w := 0.2 + r.ExpFloat64()
			weight[h] += w
			sum += w
		}
	}
	perHour := int(time.Hour / block)
	for i := range hours * perHour {
		p.rain[i] = mm * weight[i/perHour] / sum / float64(perHour)
	}
}

// temperature of the air at t, which lies in the planned day: half a cosine up
// from sunrise to three hours after noon, and down to the next sunrise.
func (s *sky) temperature(t time.Time) float64 {
	p := &s.day
	const peak = 15.0
	rise := math.Min(math.Max(p.sunrise, 2), 11)
	h := p.begins + t.Sub(p.start).Hours()
	swing := func(from, to, x float64) float64 { return from + (to-from)*(1-math.Cos(math.Pi*x))/2 }
	lo, hi := p.row.TMinC.Value, p.row.TMaxC.Value
	switch {
	case h < rise:
		return swing(p.tMaxBefore, lo, (h+24-peak)/(rise+24-peak))
	case h < peak:
		return swing(lo, hi, (h-rise)/(peak-rise))
	}
	return swing(hi, p.tMinAfter, math.Min(1, (h-peak)/(rise+24-peak)))
}

// humidity in % from the dew point, or else the day's minimum as dew point
// (FAO-56 eq. 48).
func (s *sky) humidity(tempC float64) float64 {
	return math.Max(5, math.Min(100, 100*s.day.vapour/saturated(tempC)))
}

// saturated is the pressure of vapour over water, kPa (FAO-56 eq. 11).
func saturated(tempC float64) float64 { return 0.6108 * math.Exp(17.27*tempC/(tempC+237.3)) }

// blockAt is the number of the block that holds t.
func (p *dayPlan) blockAt(t time.Time) int {
	return max(0, min(p.blocks-1, int(t.Sub(p.start)/block)))
}

// solarWM2 is the sunshine in W/m² in a block.
func (p *dayPlan) solarWM2(i int) float64 {
	return p.solarMJ * 1e6 * p.sun[i] / block.Seconds()
}

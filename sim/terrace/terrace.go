package terrace

import (
	"fmt"
	"time"

	"fabricpot/control/garden"
	"fabricpot/sim/terrace/column"
)

// Terrace is a garden in simulation.
type Terrace struct {
	opts   Options
	start  time.Time
	now    time.Duration
	sky    *sky
	pipes  *plumbing
	zones  []*zone
	inflow []float64

	dayEnd, blockEnd, hourEnd time.Duration
	block                     int
	// Rain on the sky so far, and when Weather was last asked.
	rainMM, rainTold float64
}

// mixSoil is a mix's tables, shared by the zones that are filled with it.
type mixSoil struct {
	*column.Soil
	response *column.Response
}

// New builds the terrace of a garden at start, every pot drained to container
// capacity. The garden is read and not kept.
func New(g *garden.Garden, start time.Time, o Options) (*Terrace, error) {
	if err := o.check(); err != nil {
		return nil, err
	}
	s, err := newSky(g.Site, o)
	if err != nil {
		return nil, err
	}
	t := &Terrace{opts: o, start: start.In(s.site.Zone), sky: s, hourEnd: time.Hour}
	soils := map[garden.MixID]mixSoil{}
	index := map[garden.ZoneID]int{}
	g.EachZone(func(p *garden.Pot, z *garden.Zone) {
		if err != nil {
			return
		}
		soil, ok := soils[p.Mix]
		if !ok {
			m, ok := g.Mix(p.Mix)
			if !ok {
				err = fmt.Errorf("terrace: pot %s is filled with mix %q, which the garden does not have", p.ID, p.Mix)
				return
			}
			if soil.Soil, err = column.NewSoil(m.Retention); err != nil {
				err = fmt.Errorf("terrace: mix %s: %w", p.Mix, err)
				return
			}
			soil.response = soil.Respond(o.Roots)
			soils[p.Mix] = soil
		}
		var zn *zone
		if zn, err = newZone(g, p, z, soil, len(t.zones), o); err != nil {
			return
		}
		index[z.ID] = len(t.zones)
		t.zones = append(t.zones, zn)
	})
	if err != nil {
		return nil, err
	}
	t.inflow = make([]float64, len(t.zones))
	t.pipes = newPlumbing(g, index, o)
	t.pipes.fed = make([]float64, len(t.zones))
	t.beginDay()
	t.beginBlock()
	return t, nil
}

// Now is the time since the start.
func (t *Terrace) Now() time.Duration { return t.now }

// Wall is the civil time now.
func (t *Terrace) Wall() time.Time { return t.start.Add(t.now) }

// Zones is the number of zones.
func (t *Terrace) Zones() int { return len(t.zones) }

func (t *Terrace) days() float64 { return t.now.Hours() / 24 }

// SetValve opens or closes a line's valve from now on. An unknown line is
// ignored.
func (t *Terrace) SetValve(id garden.LineID, open bool) {
	if i, ok := t.pipes.byID[id]; ok {
		t.pipes.lines[i].open = open
	}
}

// Advance moves everything to `to` after the start with the valves as they are.
// Going back does nothing. Columns take steps of a minute while water moves and
// as long as the forcing stands still otherwise, at most ten minutes; how the
// caller slices time changes results by less than the error of a step.
func (t *Terrace) Advance(to time.Duration) {
	for t.now < to {
		end := min(to, t.blockEnd, t.hourEnd)
		for _, z := range t.zones {
			if z.handL > 0 {
				// End where the can is empty, to the nearest millisecond.
				left := time.Duration(z.handL/z.handLPH*3.6e6) * time.Millisecond
				end = min(end, t.now+max(left, time.Second))
			}
		}
		t.segment(end - t.now)
		t.now = end
		if t.now == t.hourEnd {
			for _, z := range t.zones {
				z.closeHour()
			}
			t.hourEnd += time.Hour
		}
		if t.now == t.blockEnd {
			if t.now == t.dayEnd {
				t.beginDay()
			}
			t.beginBlock()
		}
	}
}

// segment moves everything by a span in which all forcing is constant.
func (t *Terrace) segment(d time.Duration) {
	hours := d.Hours()
	clear(t.inflow)
	clear(t.pipes.fed)
	t.pipes.flow(hours, t.inflow)
	for i, z := range t.zones {
		if z.nitro != nil {
			z.pour(hours, t.inflow[i], t.pipes.fed[i])
		}
		z.step(hours, t.inflow[i])
	}
	t.rainMM += t.sky.day.rain[t.block] * hours / block.Hours()
}

func (t *Terrace) beginDay() {
	t.sky.plan(t.Wall())
	p := &t.sky.day
	t.dayEnd = p.end.Sub(t.start)
	for i, z := range t.zones {
		z.grow(p.number, i, &t.opts)
	}
	t.pipes.age(t.days())
}

func (t *Terrace) beginBlock() {
	p := &t.sky.day
	wall := t.Wall()
	t.block = p.blockAt(wall)
	t.blockEnd = min(p.start.Add(time.Duration(t.block+1)*block).Sub(t.start), t.dayEnd)
	hours := block.Hours()
	eto := p.etoMM * p.sun[t.block] / hours
	rain := p.rain[t.block] / hours
	air, sun := t.sky.temperature(wall), p.solarWM2(t.block)
	for _, z := range t.zones {
		z.warm.advance(hours, air, sun)
		z.force(eto, rain, &t.opts, hours)
	}
}

// WaterAt is the true water fraction depthCM under the surface of a zone.
func (t *Terrace) WaterAt(zone int, depthCM float64) float64 {
	return t.zones[zone].col.WaterAt(depthCM)
}

// MeanWater is a zone's true mean water fraction.
func (t *Terrace) MeanWater(zone int) float64 { return t.zones[zone].col.Mean() }

// TempAt is the mix's temperature in °C at a depth.
func (t *Terrace) TempAt(zone int, depthCM float64) float64 { return t.zones[zone].warm.at(depthCM) }

// PourByHand starts a can: litres over the next minutes, two litres a minute,
// after whatever is still being poured.
func (t *Terrace) PourByHand(zone int, litres float64) {
	if !(litres > 0) || !garden.Finite(litres) {
		return
	}
	t.PourFeedByHand(zone, litres, 0)
}

// MeterLitres is what a flow meter behind the supply has counted.
func (t *Terrace) MeterLitres() float64 { return t.pipes.meterL }

// LineLitres is what has truly passed through a line; 0 for an unknown one.
func (t *Terrace) LineLitres(id garden.LineID) float64 {
	if i, ok := t.pipes.byID[id]; ok {
		return t.pipes.lines[i].litres
	}
	return 0
}

// LineFlowLPH is what a line's emitters give now at full pressure, L/h; 0 for an
// unknown one.
func (t *Terrace) LineFlowLPH(id garden.LineID) float64 {
	if i, ok := t.pipes.byID[id]; ok {
		return t.pipes.lines[i].nominal
	}
	return 0
}

// RainMM is the rain on the sky's side of everything since the beginning, mm.
func (t *Terrace) RainMM() float64 { return t.rainMM }

// AirC is the air's temperature now, °C; unlike Weather it can be asked by
// anybody without taking the rain away from who is told of it.
func (t *Terrace) AirC() float64 { return t.sky.temperature(t.Wall()) }

// Weather is what a sensor on the terrace would say now. RainMM is the rain since
// the last call.
func (t *Terrace) Weather() garden.WeatherNow {
	wall := t.Wall()
	temp := t.sky.temperature(wall)
	rain := t.rainMM - t.rainTold
	t.rainTold = t.rainMM
	return garden.WeatherNow{
		At:      garden.Moment{Mono: t.now, Wall: wall, Synced: true},
		TempC:   garden.Known(temp),
		RH:      garden.Known(t.sky.humidity(temp)),
		WindMS:  t.sky.day.row.WindMS,
		SolarWM: garden.Known(t.sky.day.solarWM2(t.block)),
		RainMM:  garden.Known(rain),
	}
}

// Day is today's row of weather.
func (t *Terrace) Day() garden.DayWeather { return t.sky.day.row }

// DayAfter is the row of weather n days after today: a perfect forecast.
func (t *Terrace) DayAfter(n int) garden.DayWeather {
	return t.sky.row(t.sky.day.start.AddDate(0, 0, n))
}

// ScaleCanopy makes a zone's canopy, and so its thirst, factor times what its
// age says from now on: a pruning, a harvest, a plant lost.
func (t *Terrace) ScaleCanopy(zone int, factor float64) {
	if !(factor >= 0) || !garden.Finite(factor) {
		return
	}
	t.zones[zone].pruned = factor
	t.zones[zone].grow(t.sky.day.number, zone, &t.opts)
}

// EToMM is today's reference evapotranspiration in mm.
func (t *Terrace) EToMM() float64 { return t.sky.day.etoMM }

// Column is a zone's water, for solutes and for tests. Stepping it is the
// terrace's business.
func (t *Terrace) Column(zone int) *column.Column { return t.zones[zone].col }

// LitresPerCM turns a zone's column depths and amounts into litres.
func (t *Terrace) LitresPerCM(zone int) float64 { return t.zones[zone].litresPerCM }

// HiddenDemand is the lasting factor by which a zone drinks more than the book
// says: for judging an estimator, not for a controller.
func (t *Terrace) HiddenDemand(zone int) float64 { return t.zones[zone].lasting }

package control

import (
	"math"
	"time"

	"fabricpot/control/garden"
)

// fade moves the zone's water on by what t takes and brings, whether or not anything is
// read. What its balance of leaching holds over drains for draining.
func (p *Plan) fade(st *State, i int, now garden.Moment, t *tick, draining time.Duration, mm, rainMM float64) {
	z, zp := &st.zones[i], &p.zones[i]
	h := t.hours
	loss := mm * z.lossPerMM
	lossF := loss / zp.VolumeL
	// The day's strangeness lasts about a day: its variance adds up along it.
	strange := unlikeSD * unlikeSD * lossF * z.water.Factor * z.water.Factor
	if h > 0 {
		strange *= lossF / h * 12
	}
	z.water.Predict(lossF, 0, strange, 0)
	z.spent += lossF
	z.water.Drift(factorDay * factorDay * h / 24)
	if z.blind {
		z.water.Drift(factorDay * factorDay * h / 8)
	}
	thirst := z.water.Factor
	if thirst < 1 {
		thirst = 1
	}
	z.short += allowance * loss * thirst
	z.dryLoss += loss * thirst
	z.depth.lost(loss, draining, z, zp)
	z.salts.watch(z.runs(zp), now, zp)
	z.doubt.spent(loss, zp)
	if rainMM > 0 {
		p.rain(st, i, now, rainMM)
		z.came.otherMM += rainMM
	}
	if over := z.water.Mean - float64(zp.Capacity); over > 0 {
		left := over * math.Exp(-float64(t.dt)/float64(zp.drain))
		z.span.drainedL += (over - left) * zp.VolumeL
		// Some ran through, whatever the level is when it is looked at next.
		z.arrival.open, z.uneven.open = false, false
		z.water.Hold(0, float64(zp.Capacity)+left)
	}
	z.water.Hold(float64(zp.LowerLimit)/4, float64(zp.Porosity))
}

// rain credits what falls into the pot; the canopy sheds a part of it.
func (p *Plan) rain(st *State, i int, now garden.Moment, mm float64) {
	z, zp := &st.zones[i], &p.zones[i]
	cover := 0.0
	if zp.AreaM2 > 0 {
		cover = min(z.canopyM2/zp.AreaM2, 1)
	}
	litres := mm * zp.AreaM2 * (1 - 0.5*cover)
	wet, has, gave, drying, spell := z.wetAt, z.hasWater, z.gave, z.drying, z.odd.open
	p.credit(st, i, litres, 0.5, now.Mono)
	z.gave = gave
	z.uneven.rained(litres, zp)
	z.arrival.rained(litres, zp)
	z.anchor.rained(litres, zp)
	z.doubt.uncounted(now.Mono)
	if mm < 0.05 {
		// A drizzle leaves the pot at rest.
		z.wetAt, z.hasWater, z.drying, z.odd.open = wet, has, drying, spell
	}
}

// rainOf is what the day's figure, spread over it, comes to in dt, mm.
func rainOf(d garden.DayWeather, dt time.Duration) float64 {
	if !garden.Finite(d.RainMM.Value) {
		return 0
	}
	return min(max(d.RainMM.Or(0), 0), 500) * dt.Hours() / 24
}

// passUnseen takes from every zone what it lost while no gateway ran, as far as today's
// weather says, or the place's usual where none has come yet: a pot that no probe watches
// would else not be given it. h is the solar hour. What ran down meanwhile was let go when
// the memory was recalled. Rain of the day's figure may have fallen at any time of it, so
// that it makes no pot a wet one.
func (p *Plan) passUnseen(st *State, now garden.Moment, obs *garden.Observed, h float64) {
	t := passed(st.unseen)
	mm, rain := st.sky.before(h, t.hours), rainOf(obs.Today, st.unseen)
	for i := range st.zones {
		z, zp := &st.zones[i], &p.zones[i]
		if zp.VolumeL <= 0 || z.used {
			continue
		}
		wet, has, drying := z.wetAt, z.hasWater, z.drying
		p.fade(st, i, now, &t, 0, mm, rain)
		z.wetAt, z.hasWater, z.drying = wet, has, drying
		z.short = min(z.short, zp.VolumeL)
	}
	st.unseen = 0
}

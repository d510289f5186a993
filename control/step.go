package control

import (
	"time"

	"fabricpot/control/garden"
)

// Step runs one tick at now and appends the orders it wants to orders. Orders
// are wishes: permit may shorten or refuse them, and what became of each must
// come back through obs. Stops and Events of st hold what else this tick asks
// for and noticed.
//
// It never fails: what it can't use it leaves out, and the safe outcome of not
// knowing is no order.
func (p *Plan) Step(st *State, now garden.Moment, obs *garden.Observed, orders []garden.Order) []garden.Order {
	st.stops, st.events, st.wishes = st.stops[:0], st.events[:0], st.wishes[:0]
	dt := time.Duration(0)
	if st.began {
		// A gap of more than a day says nothing about how the pots fared.
		dt = min(max(now.Mono-st.last.Mono, 0), 24*time.Hour)
	}
	if st.sky.refresh(p, now, obs) {
		for i := range st.zones {
			p.grow(&p.zones[i], &st.zones[i], now)
		}
	}
	p.hear(st, now, obs)
	h := solarHour(p, now)
	mm := st.sky.between(h-min(dt.Hours(), h), min(dt.Hours(), h))
	if dt.Hours() > h {
		mm += st.sky.etoMM * (dt.Hours() - h) / 24
	}
	rain := 0.0
	switch {
	case obs.Now.RainMM.Known && garden.Finite(obs.Now.RainMM.Value):
		rain = min(max(obs.Now.RainMM.Value, 0), 500)
	case obs.Today.RainMM.Known && garden.Finite(obs.Today.RainMM.Value):
		// No gauge: the day's figure, spread over it.
		rain = min(max(obs.Today.RainMM.Value, 0), 500) * dt.Hours() / 24
	}
	p.account(st, now, obs, dt, mm, rain)
	p.release(st, now)
	ahead := p.lookAhead(st, now, h)
	for i := range st.lines {
		p.advance(st, i, now, &ahead)
	}
	orders = p.grant(st, now, &ahead, orders)
	st.last, st.began = now, true
	return orders
}

// release ends keeping zones shut when the time for it is over.
func (p *Plan) release(st *State, now garden.Moment) {
	for i := range st.zones {
		z := &st.zones[i]
		if z.shut && z.shutTill > 0 && now.Mono >= z.shutTill {
			z.shut = false
		}
	}
}

// ahead is what the clock and the weather say about the hours to come.
type ahead struct {
	open bool
	// shutsIn and opensIn are hours; shutsIn is infinite where watering never
	// closes.
	closes             bool
	shutsIn, reopensIn float64
	// closedMM evaporate until watering opens again after the next closing.
	closedMM float64
	// heatIn is hours until the hottest hours, negative within them; heatMM
	// evaporate until they are over.
	heat    bool
	heatIn  float64
	heatMM  float64
	solar   float64
	rainMM  float64
	dayMM   float64
	minutes float64 // of watering left before it closes
}

// The hottest hours, solar time.
const heatFromH, heatToH = 11.0, 17.0

func (p *Plan) lookAhead(st *State, now garden.Moment, solar float64) ahead {
	a := ahead{open: true, solar: solar, rainMM: st.sky.rainAheadMM, dayMM: st.sky.between(solar, 24), minutes: 24 * 60}
	if !now.Synced {
		// Calendar rules wait for a clock.
		return a
	}
	if len(p.supply.Hours) > 0 {
		a.open, a.shutsIn, a.reopensIn = window(p.supply.Hours, now.Wall)
		a.closes = a.shutsIn < 24
		if a.closes {
			a.minutes = a.shutsIn * 60
			a.closedMM = st.sky.between(solar, a.reopensIn)
		}
	}
	if st.sky.etoMM >= hotDayMM {
		a.heatIn = heatFromH - solar
		if a.heatIn > 0 && a.heatIn < 3 {
			a.heat = true
			a.heatMM = st.sky.between(solar, heatToH-solar)
		}
	}
	return a
}

// hotDayMM is the reference evapotranspiration from which a day counts as hot
// enough to water ahead of its hottest hours, mm.
const hotDayMM = 5

// window says whether watering is allowed at t, in how many hours that ends (24
// or more: never), and in how many hours it begins again after that.
func window(ws []garden.DayWindow, t time.Time) (open bool, shutsIn, reopensIn float64) {
	// Walk the day in steps of a quarter of an hour; the edges of windows are
	// then met to within one, which is all that planning ahead needs.
	const step = 15 * time.Minute
	in := func(t time.Time) bool {
		for i := range ws {
			if ws[i].Contains(t) {
				return true
			}
		}
		return false
	}
	open = in(t)
	shutsIn = 24
	at := t
	if open {
		n := 0
		for ; n < 96 && in(at); n++ {
			at = at.Add(step)
		}
		shutsIn = float64(n) / 4
	} else {
		shutsIn = 0
	}
	n := 0
	for ; n < 96 && !in(at); n++ {
		at = at.Add(step)
	}
	return open, shutsIn, at.Sub(t).Hours()
}

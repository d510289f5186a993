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
	st.stops, st.events, st.wishes = st.stops[:0], append(st.events[:0], st.between...), st.wishes[:0]
	st.between = st.between[:0]
	dt := time.Duration(0)
	if st.began {
		// A gap of more than a day says nothing about how the pots fared.
		dt = min(max(now.Mono-st.last.Mono, 0), 24*time.Hour)
	}
	st.watchClock(now)
	changed := st.sky.refresh(p, now, obs)
	p.hear(st, now, obs)
	if changed || st.replanted {
		for i := range st.zones {
			p.growOn(&p.zones[i], &st.zones[i], st.sky.day, obs.Today)
			p.grow(&p.zones[i], &st.zones[i], now)
		}
		st.replanted = false
	}
	h := solarHour(p, now)
	if !st.began && st.unseen > 0 {
		p.passUnseen(st, now, obs, h)
	}
	rain := rainOf(obs.Today, dt)
	if obs.Now.RainMM.Known && garden.Finite(obs.Now.RainMM.Value) {
		rain = min(max(obs.Now.RainMM.Value, 0), 500)
	}
	mm := st.sky.between(h-min(dt.Hours(), h), min(dt.Hours(), h))
	if dt.Hours() > h {
		mm += st.sky.etoMM * (dt.Hours() - h) / 24
	}
	p.account(st, now, obs, dt, mm, rain)
	p.release(st, now)
	ahead := p.lookAhead(st, now, h)
	for i := range st.lines {
		p.advance(st, i, now, &ahead)
	}
	had := len(orders)
	orders = p.grant(st, now, &ahead, orders)
	p.uses(st, obs, orders[had:])
	st.last, st.began = now, true
	return orders
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
	minutes float64 // of watering left before it closes
}

// The hottest hours, solar time.
const heatFromH, heatToH = 11.0, 17.0

func (p *Plan) lookAhead(st *State, now garden.Moment, solar float64) ahead {
	a := ahead{open: true, solar: solar, rainMM: st.sky.rainAheadMM, minutes: 24 * 60}
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
	open = within(ws, t)
	at := t
	shutsIn = 24
	if open {
		at = edge(ws, t, true)
		shutsIn = at.Sub(t).Hours()
	} else {
		shutsIn = 0
	}
	if shutsIn >= 24 {
		return open, 24, 24
	}
	return open, shutsIn, edge(ws, at, false).Sub(t).Hours()
}

func within(ws []garden.DayWindow, t time.Time) bool {
	for i := range ws {
		if ws[i].Contains(t) {
			return true
		}
	}
	return false
}

// edge is the first moment from t on, at most a day away, when being within the windows is
// no longer what it was: t itself where it is not so there, or one of the windows' ends.
func edge(ws []garden.DayWindow, t time.Time, was bool) time.Time {
	if within(ws, t) != was {
		return t
	}
	// Clock fields, as the windows have them: see garden.DayWindow.
	clock := time.Duration(t.Hour())*time.Hour + time.Duration(t.Minute())*time.Minute + time.Duration(t.Second())*time.Second + time.Duration(t.Nanosecond())
	first := t.Add(24 * time.Hour)
	look := func(at time.Time) {
		if at.After(t) && at.Before(first) && within(ws, at) != was {
			first = at
		}
	}
	// Where the clocks change they may jump into a window or out of it, and what is ahead
	// by the clock comes as much sooner or later.
	_, change := t.ZoneBounds()
	later := offset(t) - offset(first)
	look(change)
	for i := range ws {
		for _, end := range [2]time.Duration{ws[i].From, ws[i].To} {
			for _, ahead := range [2]time.Duration{end - clock, end - clock + 24*time.Hour} {
				look(t.Add(ahead))
				look(t.Add(ahead + later))
			}
		}
	}
	return first
}

// offset is how far the clock on the wall is ahead of UTC at t.
func offset(t time.Time) time.Duration {
	_, s := t.Zone()
	return time.Duration(s) * time.Second
}

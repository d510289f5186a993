package valves

import (
	"math"
	"time"

	"fabricpot/control/garden"
)

// Env is what the surroundings say at the moment of a request.
type Env struct {
	// AirC and MixC are the coldest air and mix temperatures known, °C.
	AirC, MixC garden.Measured
	// TankL is what the tank holds now, litres, reserve included.
	TankL garden.Measured
	// AutoOff tells that automatic control is off: only survival doses and
	// what a person asks for may pass.
	AutoOff bool
}

// position is what a line is doing.
type position uint8

const (
	// unconfirmed: commanded closed, not confirmed; or never commanded yet.
	unconfirmed position = iota
	// shut: closed and confirmed.
	shut
	// opening: permitted, its intent is being written.
	opening
	// open: energised.
	open
)

// facts is everything permit looks at besides the order and the surroundings.
type facts struct {
	now     garden.Moment
	pos     position
	flowLPH float64
	// maxOn is the tighter of the line's and the garden's limit.
	maxOn time.Duration
	// leastOn is the shortest its valve can open for, 0 for any.
	leastOn time.Duration
	// maxDose is the longest its injector may run, 0 for no limit of its own.
	maxDose time.Duration
	// margin is how much longer than its nominal time a pulse may take, > 1.
	margin float64
	// heldUntil is when the gardener's shut ends; zero means not kept shut.
	heldUntil time.Duration
	// restUntil is when the minimum rest is over.
	restUntil time.Duration
	// capL and spentL are the rolling day's cap and what is charged to it;
	// capUntil is when the oldest charge drops out.
	capL, spentL float64
	capUntil     time.Duration
	// doseL is the day's survival dose, doseSpentL what was given of it.
	doseL, doseSpentL float64
	doseUntil         time.Duration
	supply            supply
	draws             []draw
	// promisedL is what lines already open may still take from the tank.
	promisedL    float64
	tankReserveL float64
	hours        []garden.DayWindow
	frostC       float64
	// tankEmpty is what a float says. pumped tells that a pump feeds the lines,
	// pumpLeft how long it may still run, pumpLocked until when it rests.
	tankEmpty, pumped    bool
	pumpLeft, pumpLocked time.Duration
}

// pass is what permit lets through: never more litres nor a longer time than
// the order asked for.
type pass struct {
	litres float64
	maxOn  time.Duration
}

// leastShare of a cap or dose is not worth a click of the valve.
const leastShare = 0.01

// leastOn is the shortest opening worth making after a limit shortened it.
const leastOn = time.Second

// permit decides whether an order may reach a coil. It is pure, and it can only
// shorten or refuse. until is when asking again may succeed, zero where unknown.
func permit(o garden.Order, f facts, e Env) (p pass, cause garden.RefusalCause, until time.Duration) {
	if !(o.Litres > 0) || math.IsInf(o.Litres, 0) || o.MaxOn <= 0 || o.ID == 0 || o.Kind > garden.Commission {
		return pass{}, garden.BadOrder, 0
	}
	switch f.pos {
	case opening, open:
		return pass{}, garden.LineBusy, 0
	case unconfirmed:
		return pass{}, garden.NotConfirmed, 0
	}
	now := f.now.Mono
	switch {
	case f.heldUntil > now:
		return pass{}, garden.HeldShut, f.heldUntil
	case e.AutoOff && o.Kind != garden.Survival && o.Kind != garden.ByHand:
		return pass{}, garden.ControlOff, 0
	case freezing(e.AirC, f.frostC) || freezing(e.MixC, f.frostC):
		return pass{}, garden.FrostLock, 0
	case f.restUntil > now:
		return pass{}, garden.TooSoon, f.restUntil
	case f.tankEmpty:
		return pass{}, garden.TankEmpty, 0
	case f.pumped && f.pumpLocked > now:
		return pass{}, garden.PumpLocked, f.pumpLocked
	}

	litres, maxOn := o.Litres, min(o.MaxOn, f.maxOn)
	if o.Kind == garden.Feeding && f.maxDose > 0 {
		maxOn = min(maxOn, f.maxDose)
	}

	if f.pumped {
		if f.pumpLeft < leastOn {
			return pass{}, garden.SupplyBusy, 0 // it stops with the lines that are open
		}
		maxOn = min(maxOn, f.pumpLeft)
	}

	// A calendar rule waits for a clock that somebody confirmed.
	if f.now.Synced && len(f.hours) > 0 {
		left, wait := hoursLeft(f.hours, f.now.Wall)
		if left < leastOn {
			return pass{}, garden.OutsideHours, now + wait
		}
		maxOn = min(maxOn, left)
	}

	capLeft := f.capL - f.spentL
	if capLeft < min(litres, leastShare*f.capL) || capLeft <= 0 {
		return pass{}, garden.CapReached, f.capUntil
	}
	if o.Kind == garden.Survival {
		doseLeft := f.doseL - f.doseSpentL
		if doseLeft < min(litres, leastShare*f.doseL) || doseLeft <= 0 {
			return pass{}, garden.CapReached, f.doseUntil
		}
		litres = min(litres, doseLeft)
	}
	litres = min(litres, capLeft)
	// Not only the litres but the whole time until the deadline fits the cap.
	maxOn = min(maxOn, onTime(capLeft, f.flowLPH))

	if e.TankL.Known {
		tankLeft := e.TankL.Value - f.tankReserveL - f.promisedL
		if !(tankLeft >= min(litres, leastShare*f.capL)) || tankLeft <= 0 {
			return pass{}, garden.TankEmpty, 0
		}
		litres = min(litres, tankLeft)
		maxOn = min(maxOn, onTime(tankLeft, f.flowLPH))
	}

	if ok, free := f.supply.carries(f.draws, f.flowLPH); !ok {
		if free <= now {
			free = 0 // overdue: its close is being repeated
		}
		return pass{}, garden.SupplyBusy, free
	}

	maxOn = min(maxOn, onTime(litres*f.margin, f.flowLPH))
	if maxOn <= 0 {
		return pass{}, garden.BadOrder, 0
	}
	if maxOn < f.leastOn {
		return pass{}, garden.TooShort, 0
	}
	return pass{litres: litres, maxOn: maxOn}, garden.NotRefused, 0
}

// freezing locks a line where the temperature is known and under the limit. A
// temperature that isn't known locks nothing: frost protects fittings, thirst
// kills the plant.
func freezing(t garden.Measured, frostC float64) bool { return t.Known && t.Value < frostC }

// onTime is how long a line of that flow takes for the litres, rounded down.
func onTime(litres, flowLPH float64) time.Duration {
	s := litres / flowLPH * 3600
	if !(s > 0) {
		return 0
	}
	// Longer than any limit, and safe to add to a monotonic time.
	if s > 1e8 {
		s = 1e8
	}
	return time.Duration(s * float64(time.Second))
}

// nominal is what a line of that flow gives in that time, litres.
func nominal(flowLPH float64, on time.Duration) float64 {
	return flowLPH * max(0, on).Hours()
}

// hoursLeft tells how long watering stays allowed from t on, and where it is
// not allowed, how long until it is.
func hoursLeft(hours []garden.DayWindow, t time.Time) (left, wait time.Duration) {
	const always = 48 * time.Hour
	end := t
	// Windows that touch or overlap make one: follow them at most once each.
	for range hours {
		grew := false
		for _, w := range hours {
			if w.From == w.To {
				return always, 0
			}
			if w.Contains(end) {
				if e := next(end, w.To); e.After(end) {
					end, grew = e, true
				}
			}
		}
		if !grew {
			break
		}
	}
	if left = end.Sub(t); left > 0 {
		return left, 0
	}
	wait = always
	for _, w := range hours {
		wait = min(wait, next(t, w.From).Sub(t))
	}
	return 0, wait
}

// next is the first time after t when the clock on the wall shows that offset
// from midnight. It goes by clock fields, so that a day with a daylight saving
// change still means the gardener's clock.
func next(t time.Time, offset time.Duration) time.Time {
	h, m, s := int(offset/time.Hour), int(offset/time.Minute)%60, int(offset/time.Second)%60
	for d := range 3 {
		c := time.Date(t.Year(), t.Month(), t.Day()+d-1, h, m, s, 0, t.Location())
		if c.After(t) {
			return c
		}
	}
	return t.Add(24 * time.Hour)
}

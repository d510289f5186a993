package control

import (
	"time"

	"fabricpot/control/garden"
)

// A line's meter can't tell that one pot's emitters clog, and where some of the
// water still comes every probe answers. How much a pot rises for the litres it is
// credited does tell, against how much it rose for as many before: what its probes,
// its mix and its emitters have always been off by drops out. It takes probes at two
// depths: one sees as well how the water spreads, which changes with the season.

// All are our judgement, tried on the simulator's pots.
const (
	// A look is closed when so much came since it was opened, m³/m³, and that is so
	// long ago: earlier the water has not spread as it had at the last look.
	leastArrived = 0.05
	arrivedAfter = 20 * time.Hour
	// arrivedBy is when it is given up: the book's losses outweigh the water.
	arrivedBy = 6 * 24 * time.Hour
	// usualLooks say what is usual, and lessLooks running under lessArrives of it
	// are told.
	usualLooks  = 3
	lessLooks   = 2
	lessArrives = 0.7
	// After resignedLooks that is what is usual.
	resignedLooks = 14
)

// arrival watches what of the water a zone is credited is seen to arrive.
type arrival struct {
	open        bool
	at          time.Duration
	mid, spent  float64
	came, rainL float64 // L, by the line as rated; by rain
	usual       float64 // what is seen, as a share of what came
	looks, less int
	ratio       float64 // of the last look to what is usual
	told        time.Duration
	hasTold     bool
}

// rained books rain into the zone; much of it ends the look.
func (a *arrival) rained(litres float64, zp *ZonePlan) {
	a.rainL += litres
	a.open = a.open && a.rainL <= mostRain*zp.VolumeL
}

// lookArrived is a look at a zone at rest whose readings no feed disturbs.
func (z *zoneState) lookArrived(zp *ZonePlan, mid float64, now time.Duration) {
	a := &z.arrival
	age := now - a.at
	if a.open && age <= arrivedBy && (a.came/zp.VolumeL < leastArrived || age < arrivedAfter) {
		if a.came == 0 {
			a.at, a.mid, a.spent, a.rainL = now, mid, z.spent, 0
		}
		return
	}
	// Near capacity some may have run through.
	if a.open && age <= arrivedBy && max(a.mid, mid) < float64(zp.Capacity)-slack {
		a.saw(((mid-a.mid+z.water.Factor*(z.spent-a.spent))*zp.VolumeL - a.rainL) / a.came)
	}
	a.open, a.at, a.mid, a.spent, a.came, a.rainL = true, now, mid, z.spent, 0, 0
}

// saw takes in that of what came so much was seen to arrive, as a share.
func (a *arrival) saw(share float64) {
	if !garden.Finite(share) {
		return
	}
	if a.looks >= usualLooks {
		a.ratio = share / a.usual
		if share < lessArrives*a.usual {
			if a.less++; a.less < resignedLooks {
				return
			}
			a.looks = 0
		}
	}
	if a.looks == 0 {
		a.usual = 0
	}
	a.less = 0
	a.looks++
	// Less than nothing arrives nowhere, and twice is another fault.
	a.usual += (min(max(share, 0.3), 2) - a.usual) / float64(min(a.looks, 8))
}

// watchArrival tells of a zone that gets less than it used to.
func (p *Plan) watchArrival(st *State, i int, now garden.Moment) {
	a, zp := &st.zones[i].arrival, &p.zones[i]
	if a.less < lessLooks || a.hasTold && now.Mono-a.told < oddAgain {
		return
	}
	a.told, a.hasTold = now.Mono, true
	st.note(Event{Kind: LessArrives, At: now, Zone: zp.ID, Line: zp.Line, A: max(a.ratio, 0)})
}

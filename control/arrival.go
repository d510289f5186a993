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
	// arrivedFor is how long what was seen is told: in cool weather, or in a pot
	// that is often fed, looks are rare.
	arrivedFor = 12 * 24 * time.Hour
	// arrivedSalt is the doubt that a feed brings to readings at which a look may
	// still be taken, some three days after it. A look is worth less than a level.
	arrivedSalt = 1.05
	// usualLooks say what is usual, and lessLooks running under lessArrives of it
	// are told, until one is over enoughArrives of it.
	usualLooks    = 3
	lessLooks     = 2
	lessArrives   = 0.7
	enoughArrives = 0.85
	// After resignedLooks that is what is usual.
	resignedLooks = 30
)

// arrival watches what of the water a zone is credited is seen to arrive.
type arrival struct {
	look
	at          time.Duration
	usual       float64 // what is seen, as a share of what came
	looks, less int
	// factor is the demand factor of the last look that was as usual: from then on
	// water that does not arrive is learnt as thirst.
	factor  float64
	ratio   float64 // of the last look to what is usual
	seen    time.Duration
	told    time.Duration
	hasTold bool
}

// lookArrived is a look at a zone at rest whose readings no feed disturbs.
func (z *zoneState) lookArrived(zp *ZonePlan, mid float64, now time.Duration) {
	a := &z.arrival
	age := now - a.at
	if a.open && age <= arrivedBy && (a.came/zp.VolumeL < leastArrived || age < arrivedAfter) {
		if a.came == 0 {
			a.begin(mid, z.spent)
			a.at = now
		}
		return
	}
	if a.open && age <= arrivedBy && !a.full(mid, zp) {
		if a.less == 0 {
			a.factor = z.water.Factor
		}
		a.saw(a.arrived(mid, z.spent, a.factor, zp), now)
	}
	a.begin(mid, z.spent)
	a.at = now
}

// saw takes in that of what came so much was seen to arrive, as a share.
func (a *arrival) saw(share float64, now time.Duration) {
	if !garden.Finite(share) {
		return
	}
	a.seen = now
	if a.looks >= usualLooks {
		limit := lessArrives
		if a.less >= lessLooks {
			limit = enoughArrives
		}
		a.ratio = share / a.usual
		if share < limit*a.usual {
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
	a.usual += (min(max(share, leastUsual), mostUsual) - a.usual) / float64(min(a.looks, 8))
}

// leastUsual and mostUsual bound what may be usual.
const (
	leastUsual = 0.3
	mostUsual  = 2
)

// watchArrival tells of a zone that gets less than it used to, as long as that was
// seen lately.
func (p *Plan) watchArrival(st *State, i int, now garden.Moment) {
	a, zp := &st.zones[i].arrival, &p.zones[i]
	if a.less < lessLooks || now.Mono-a.seen > arrivedFor || a.hasTold && now.Mono-a.told < oddAgain {
		return
	}
	a.told, a.hasTold = now.Mono, true
	st.note(Event{Kind: LessArrives, At: now, Zone: zp.ID, Line: zp.Line, A: max(a.ratio, 0)})
}

// ArrivalMemory is what a restart must not take for usual: what was seen to arrive
// in a zone of the water given, as a share, in how many looks, and how many running
// saw less. Factor is the demand factor they were seen by, Ratio the last to what
// is usual.
type ArrivalMemory struct {
	Usual  float64 `json:"usual"`
	Looks  int     `json:"looks"`
	Less   int     `json:"less,omitempty"`
	Factor float64 `json:"factor"`
	Ratio  float64 `json:"ratio,omitempty"`
}

// remember is nil where nothing is usual yet.
func (a *arrival) remember() *ArrivalMemory {
	if a.looks < usualLooks {
		return nil
	}
	return &ArrivalMemory{Usual: a.usual, Looks: min(a.looks, 8), Less: a.less, Factor: a.factor, Ratio: a.ratio}
}

// recall brings a memory in that is sane.
func (a *arrival) recall(m *ArrivalMemory, now time.Duration) {
	if m == nil || !garden.Finite(m.Usual) || m.Usual < leastUsual || m.Usual > mostUsual || m.Looks < usualLooks ||
		m.Less < 0 || m.Less > resignedLooks || !garden.Finite(m.Factor) || m.Factor <= 0 || !garden.Finite(m.Ratio) {
		return
	}
	*a = arrival{usual: m.Usual, looks: min(m.Looks, 8), less: m.Less, factor: m.Factor, ratio: m.Ratio, seen: now}
}

package control

import (
	"math"
	"time"

	"fabricpot/control/garden"
)

// The figures here are our judgement, tried on the simulator's pots.
const (
	// A zone whose probes all stand higher than shallowFrom of more than
	// deepPotCM of mix is not told how its depth fares: water given by such a
	// probe wets the top again and again while the floor dries.
	shallowFrom = 1.0 / 3
	deepPotCM   = 45
	// runThrough is after how long, at the latest, such a zone gets what its
	// balance misses beside what its probe asks for; sooner once a band is
	// missing.
	runThrough = 7 * 24 * time.Hour
	// waitForProbe, in bands, may be missing by that balance before the zone is
	// watered without its probe asking.
	waitForProbe = 1.5
	// deepDoubt is how many standard deviations of the factor that balance
	// allows for.
	deepDoubt = 0.3
	// leastThirst bounds the factor there: a probe that the water always reaches
	// dries slowly and would teach that the plant drinks little.
	leastThirst = 0.9
	// topTells is the share of what such a zone seems to need that is given at
	// least: the top of a pot dries faster than the pot.
	topTells = 0.6
	// washShare of a zone's volume is leached at a time: of many small doses
	// nothing would come out below, since no probe is as sure of capacity.
	washShare = 0.10
	// staysShare of the volume over capacity runs down so slowly that the plants
	// drink it before it drains.
	staysShare = 0.02
	// restedSalt is the doubt that a feed brings to readings at which it counts as
	// taken up: some six days after one that adds 1 mS/cm. Washed sooner it would
	// only feed the drain.
	restedSalt = 1.003
	// clearSalt is the same for what salts alone ask for, some two and a half days after
	// it: a pot that is fed every six days would else be washed at no time.
	clearSalt = 1.12
	// pressingShare of the volume owed is leached with no regard to feeds: between frequent
	// ones there may be no day that is far from both, and strawberries fed every five lost a
	// tenth of their harvest to salts while a wash waited for one.
	pressingShare = 0.18
)

// depth is a zone's balance since it was last full: litres that the book says are
// missing, whatever probes read. A reading mends an account of the mean; it can't
// mend this one, since it says nothing of water that ran past or never arrived.
// It is what a zone is given whose depth nobody sees, and what leaching begins at.
type depth struct {
	short float64 // L, never negative
	// over is what came in beyond full and neither drained nor was drunk yet, L.
	over  float64
	wash  float64 // L that should have drained by now and have not
	may   float64 // L that may drain for the sake of salts
	begun bool
	// fullAt is when the zone was last watered through.
	fullAt  time.Duration
	hasFull bool
}

// counted tells whether the zone needs this balance.
func (z *ZonePlan) counted() bool { return z.DepthUnseen || z.leaches() }

// leaches tells whether anything is to drain from the zone.
func (z *ZonePlan) leaches() bool { return z.LeachingFraction > 0 || z.washing.waterMS > 0 }

// holdsL is the available water of the drained zone, L.
func (z *ZonePlan) holdsL() float64 { return float64(z.Capacity-z.LowerLimit) * z.VolumeL }

// lost takes away what a tick of dt takes, modelled loss bookL by the book, and lets
// drain what is over. A pot takes hours to drain; what its plants drink meanwhile
// washes nothing.
func (d *depth) lost(bookL float64, dt time.Duration, z *zoneState, zp *ZonePlan) {
	if !zp.counted() {
		return
	}
	factor := z.water.Factor
	if zp.DepthUnseen {
		factor = max(factor, leastThirst) + deepDoubt*math.Sqrt(z.water.VarFactor)
	}
	most, loss := zp.holdsL(), bookL*factor
	drunk := min(d.over, loss)
	d.short = min(d.short+loss-drunk, most)
	d.over -= drunk
	out := 0.0
	if runs := d.over - staysShare*zp.VolumeL; runs > 0 {
		out = runs * -math.Expm1(-float64(dt)/float64(zp.drain))
	}
	d.over -= out
	// Of what is given the fraction drains: of each litre used, this much more.
	d.wash = min(d.wash+loss*zp.LeachingFraction/(1-zp.LeachingFraction), most)
	d.wash = max(0, d.wash-out)
	if w := &zp.washing; w.waterMS > 0 {
		d.may = max(0, min(d.may+loss*w.most/(1-w.most), needHolds*zp.VolumeL)-out)
		z.salts.leave(out, zp)
	}
}

// gained books litres that came in from above while the account of the mean had
// room for roomL. Neither account is the better one: what drains is what is over by
// their middle. A factor learnt too small would else take every refill for a wash.
func (d *depth) gained(litres, roomL float64, zp *ZonePlan) {
	if !zp.counted() {
		return
	}
	d.over += max(0, litres-(d.short+max(roomL, 0))/2)
	d.short = max(0, d.short-litres)
}

// saltsOwe is what should drain for the sake of salts alone and is not about to, L.
func (z *zoneState) saltsOwe(zp *ZonePlan) float64 {
	return max(0, min(z.depth.may, z.salts.needL)-z.runs(zp))
}

// runs is what is about to drain, L.
func (z *zoneState) runs(zp *ZonePlan) float64 {
	return garden.NotBelow0(z.depth.over - staysShare*zp.VolumeL)
}

// owes is what should drain by now and neither has nor is about to, L.
func (z *zoneState) owes(zp *ZonePlan) float64 {
	return max(z.saltsOwe(zp), z.depth.wash-z.runs(zp))
}

// reload takes the balance over into another plan of the zone, whose capacity is
// more litres more.
func (d *depth) reload(to *ZonePlan, counted bool, more float64) {
	if !counted || !to.counted() {
		*d = depth{} // begun anew from the water that is known
		return
	}
	missing := d.short - d.over + more
	d.short, d.over = min(max(0, missing), to.holdsL()), max(0, -missing)
	if d.wash = min(d.wash, to.holdsL()); to.LeachingFraction == 0 {
		d.wash = 0
	}
}

// deepen starts the balance where the zone's water is known for the first time.
func (z *zoneState) deepen(zp *ZonePlan) {
	if !z.depth.begun && z.known && zp.counted() {
		z.depth.begun = true
		z.depth.short = min(max(0, (float64(zp.Capacity)-z.water.Mean)*zp.VolumeL), zp.holdsL())
	}
}

// unseen is what a zone whose depth no probe sees should get by its balance, L;
// 0 where that is not due.
func (z *zoneState) unseen(zp *ZonePlan, now time.Duration) float64 {
	if !zp.DepthUnseen || z.depth.hasFull && now-z.depth.fullAt < runThrough && z.depth.short < z.band*zp.VolumeL {
		return 0
	}
	return z.depth.short
}

// washDue tells whether the zone's next watering should leach. One whose depth
// nobody sees is watered through by its balance, on the safe side, and that leaches.
func (z *zoneState) washDue(zp *ZonePlan) bool {
	owes, rested := z.owes(zp), restedSalt
	if zp.LeachByNeed {
		rested = clearSalt
	}
	return !zp.DepthUnseen && zp.leaches() && owes >= washShare*zp.VolumeL &&
		(z.salt <= rested && !z.washLater || owes >= pressingShare*zp.VolumeL)
}

// withDepth is what a zone needs that seems to need litres by its probes.
func (z *zoneState) withDepth(zp *ZonePlan, litres float64, now time.Duration) float64 {
	if zp.DepthUnseen {
		litres = max(topTells*litres, z.unseen(zp, now))
	}
	return litres
}

// washes is what makes the zone drain what it owes, L: only a full pot drains.
func (z *zoneState) washes(zp *ZonePlan) float64 {
	full := (float64(zp.Capacity) - z.water.Mean) * zp.VolumeL
	stays := max(0, staysShare*zp.VolumeL-z.depth.over)
	return max(0, full, z.depth.short) + stays + z.owes(zp)
}

// watersThrough tells whether litres into the zone are meant to come out below,
// and notes it.
func (z *zoneState) watersThrough(zp *ZonePlan, litres float64, now garden.Moment) bool {
	if !zp.counted() || litres < 0.9*z.depth.short {
		return false
	}
	if zp.DepthUnseen {
		z.depth.fullAt, z.depth.hasFull = now.Mono, true
	}
	return z.washDue(zp) && litres >= z.depth.short+0.9*z.owes(zp)
}

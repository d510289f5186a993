package control

import (
	"math"
	"time"

	"fabricpot/control/garden"
)

const (
	// A zone whose probes all stand higher than shallowFrom of more than
	// deepPotCM of mix is not told how its depth fares: water given by such a
	// probe wets the top again and again while the floor dries.
	shallowFrom = 1.0 / 3
	deepPotCM   = 45
	// runThrough is after how long, at the latest, such a zone gets what its
	// balance misses beside what its probe asks for; sooner once a band is
	// missing. Judgement.
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
	// washDoubt is how many standard deviations of the water a wash allows for.
	washDoubt = 0.5
	// restedSalt is the doubt that a feed brings to readings at which it counts as
	// taken up: some five days after it. Washed sooner it would only feed the drain.
	restedSalt = 1.005
)

// depth is a zone's balance since it was last full: litres that the book says are
// missing, whatever probes read. A reading mends an account of the mean; it can't
// mend this one, since it says nothing of water that ran past or never arrived.
// It is what a zone is given whose depth nobody sees, and what leaching begins at.
type depth struct {
	short float64 // L, never negative: a surplus drains
	wash  float64 // L that should have drained by now and have not
	begun bool
	// fullAt is when the zone was last watered through.
	fullAt  time.Duration
	hasFull bool
}

// counted tells whether the zone needs this balance.
func (z *ZonePlan) counted() bool { return z.DepthUnseen || z.LeachingFraction > 0 }

// holdsL is the available water of the drained zone, L.
func (z *ZonePlan) holdsL() float64 { return float64(z.Capacity-z.LowerLimit) * z.VolumeL }

// lost takes away what a tick's modelled loss takes, L by the book.
func (d *depth) lost(bookL float64, z *zoneState, zp *ZonePlan) {
	if !zp.counted() {
		return
	}
	factor := z.water.Factor
	if zp.DepthUnseen {
		factor = max(factor, leastThirst) + deepDoubt*math.Sqrt(z.water.VarFactor)
	}
	most := zp.holdsL()
	d.short = min(d.short+bookL*factor, most)
	// Of what is given the fraction drains: of each litre used, this much more.
	d.wash = min(d.wash+bookL*factor*zp.LeachingFraction/(1-zp.LeachingFraction), most/2)
}

// gained books litres that came in from above. What is over washes.
func (d *depth) gained(litres float64) {
	over := litres - d.short
	d.short = max(0, -over)
	d.wash = max(0, d.wash-max(0, over))
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
	return !zp.DepthUnseen && zp.LeachingFraction > 0 && z.salt <= restedSalt && z.depth.wash >= washShare*zp.VolumeL
}

// withDepth is what a zone needs that seems to need litres by its probes.
func (z *zoneState) withDepth(zp *ZonePlan, litres float64, now time.Duration) float64 {
	if zp.DepthUnseen {
		litres = max(topTells*litres, z.unseen(zp, now))
	}
	if z.washDue(zp) {
		// Only a full pot drains.
		full := (float64(zp.Capacity) - z.water.Mean) * zp.VolumeL
		litres = max(litres, full, z.depth.short) + z.depth.wash + washDoubt*z.water.SD()*zp.VolumeL
	}
	return litres
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
	return z.washDue(zp) && litres >= z.depth.short+0.9*z.depth.wash
}

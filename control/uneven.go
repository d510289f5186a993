package control

import (
	"math"

	"fabricpot/control/balance"
	"fabricpot/control/garden"
)

// Pots on one line get what their emitters give, and emitters differ. A meter
// tells what came through the line and not which pot took it. How much more one
// pot rose than the others with the same waterings does: what readings have in
// common by mistake drops out of the comparison.

const (
	// unevenSD is how far a pot's part of its line strays from its emitters'
	// rating, as a share of it. Our judgement: a line of uniformity 0.9 has
	// emitters that vary by 8 %.
	unevenSD = 0.08
	// mostUneven bounds it; beyond is a fault, and told as one.
	mostUneven = 0.25
	// riseSD is what a look at rest errs by in such a comparison, where what errs
	// alike in both pots and in both looks drops out, m³/m³, and leastRise what a
	// look is taken at. Our judgement.
	riseSD    = 0.002
	leastRise = 0.04
	// mostRain is the share of a pot's volume that may come as rain between two
	// looks: half of what is credited is a guess. Our judgement.
	mostRain = 0.006
	// guessedFactorSD is how unsure the demand factor is before anything was learnt.
	guessedFactorSD = 0.25
	// driftUneven is by how much it may change with a watering.
	driftUneven = 0.005
)

// uneven is what a zone on a shared line gets against its emitters' rating.
type uneven struct {
	// part multiplies what it is credited of the line's litres, 1 for as rated;
	// 0 stands for never looked at. v is its variance.
	part, v float64
	was     float64 // part before the last look
	look
	// rise is what arrived as seen, as a share of what was credited by rating,
	// where seen is set, of so much, m³/m³.
	rise, of float64
	seen     bool
}

// asRated takes a zone that was never looked at for one that gets as rated.
func (u *uneven) asRated() {
	if u.part == 0 {
		u.part, u.v = 1, unevenSD*unevenSD
	}
}

// shareOf is the zone's part of the line's litres, by rating and what was seen.
func (z *zoneState) shareOf(zp *ZonePlan) float64 {
	if !zp.compared || z.uneven.part == 0 {
		return zp.share
	}
	return zp.share * z.uneven.part
}

// flows tells whether water may be under way that nobody has counted yet.
func (l *lineState) flows() bool { return l.phase == garden.Pulsing || l.lentOpen }

// lookUneven is a look at a zone of a shared line at rest.
func (z *zoneState) lookUneven(zp *ZonePlan, mid float64) {
	u := &z.uneven
	if u.open && u.came/zp.VolumeL < leastRise {
		if u.came == 0 {
			u.begin(mid, z.spent)
		}
		return
	}
	// An older look is of other water.
	u.seen = u.open && !u.full(mid, zp)
	if u.seen {
		u.rise = u.arrived(mid, z.spent, z.water.Factor, zp)
		u.of = u.came / zp.VolumeL
	}
	u.begin(mid, z.spent)
}

// compare learns how unevenly a line's pots are watered, once each of them has
// been looked at after water.
func (p *Plan) compare(st *State, li int) {
	zones := p.lines[li].zones
	if len(zones) < 2 {
		return
	}
	var mean, shares float64
	for _, zi := range zones {
		z, zp := &st.zones[zi], &p.zones[zi]
		if !z.uneven.seen {
			return
		}
		mean += zp.share * z.uneven.rise
		shares += zp.share
	}
	for _, zi := range zones {
		st.zones[zi].uneven.seen = false
	}
	mean /= shares
	if !garden.Finite(mean) || mean <= 0.3 || mean > 3 {
		return
	}
	for _, zi := range zones {
		u := &st.zones[zi].uneven
		u.asRated()
		u.was = u.part
		u.v = min(u.v+driftUneven*driftUneven, unevenSD*unevenSD)
		sd := 2 * riseSD / u.of
		k := u.v / (u.v + sd*sd)
		u.part += k * (min(max(u.rise/mean, 1-mostUneven), 1+mostUneven) - u.part)
		u.v *= 1 - k
	}
	p.balanceParts(st, li)
	for _, zi := range zones {
		z := &st.zones[zi]
		z.relearn(z.uneven.part / z.uneven.was)
	}
}

// relearn corrects a zone's demand factor for litres that turn out to have been so
// many times more: it was learnt from them, as far as it was learnt at all.
func (z *zoneState) relearn(times float64) {
	f := &z.water
	learnt := 1 - min(f.VarFactor/(guessedFactorSD*guessedFactorSD), 1)
	f.Factor = min(max(f.Factor*(1+learnt*(times-1)), balance.MinFactor), balance.MaxFactor)
}

// balanceParts holds a line's parts within their bound and to the line's litres:
// what one gets more the others get less.
func (p *Plan) balanceParts(st *State, li int) {
	var sum, shares, most float64
	some := false
	for _, zi := range p.lines[li].zones {
		some = some || st.zones[zi].uneven.part != 0
	}
	if !some {
		return
	}
	for _, zi := range p.lines[li].zones {
		u := &st.zones[zi].uneven
		u.asRated()
		sum += p.zones[zi].share * u.part
		shares += p.zones[zi].share
	}
	for _, zi := range p.lines[li].zones {
		u := &st.zones[zi].uneven
		u.part *= shares / sum
		most = max(most, math.Abs(u.part-1))
	}
	if most <= mostUneven {
		return
	}
	for _, zi := range p.lines[li].zones {
		u := &st.zones[zi].uneven
		u.part = 1 + (u.part-1)*mostUneven/most
	}
}

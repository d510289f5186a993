package control

import "fabricpot/control/garden"

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
	// driftUneven is by how much it may change with a watering.
	driftUneven = 0.005
)

// uneven is what a zone on a shared line gets against its emitters' rating.
type uneven struct {
	// part multiplies what it is credited of the line's litres, 1 for as rated;
	// 0 stands for never looked at. v is its variance.
	part, v float64
	// The look at rest before the water, and the line's litres since by rating.
	open       bool
	mid, spent float64
	came       float64
	// rise is what arrived as seen, as a share of what was credited by rating,
	// where seen is set, of so much, m³/m³.
	rise, of float64
	seen     bool
}

// shareOf is the zone's part of the line's litres, by rating and what was seen.
func (z *zoneState) shareOf(zp *ZonePlan) float64 {
	if z.uneven.part == 0 {
		return zp.share
	}
	return zp.share * z.uneven.part
}

// lookUneven is a look at a zone of a shared line at rest.
func (z *zoneState) lookUneven(zp *ZonePlan, mid float64) {
	u := &z.uneven
	if u.open && u.came/zp.VolumeL < leastRise {
		if u.came == 0 {
			u.mid, u.spent = mid, z.spent
		}
		return
	}
	if u.open && mid < float64(zp.Capacity)-slack {
		// Nothing ran through.
		u.rise = (mid - u.mid + z.water.Factor*(z.spent-u.spent)) * zp.VolumeL / u.came
		u.of, u.seen = u.came/zp.VolumeL, true
	}
	u.open, u.mid, u.spent, u.came = true, mid, z.spent, 0
}

// compare learns how unevenly a line's pots are watered, once each of them has
// been looked at after the same water.
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
	var sum float64
	for _, zi := range zones {
		z, zp := &st.zones[zi], &p.zones[zi]
		u := &z.uneven
		if u.part == 0 {
			u.part, u.v = 1, unevenSD*unevenSD
		}
		u.v = min(u.v+driftUneven*driftUneven, unevenSD*unevenSD)
		sd := 2 * riseSD / u.of
		k := u.v / (u.v + sd*sd)
		u.part += k * (min(max(u.rise/mean, 1-mostUneven), 1+mostUneven) - u.part)
		u.v *= 1 - k
		sum += zp.share * u.part
	}
	// What one gets more the others get less.
	for _, zi := range zones {
		st.zones[zi].uneven.part *= shares / sum
	}
}

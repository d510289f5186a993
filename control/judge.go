package control

import "fabricpot/control/garden"

// verdict is what one reading says about its zone's mean.
//
// floor tells that a probe near the floor had a part in it. A probe higher up
// that reads moist says nothing of what lies below: water given too sparingly
// wets the top again and again and leaves the depth dry. So without such a probe
// a dry reading counts and a moist one hardly does, and how fast the probe dries
// between waterings says how thirsty the zone is.
type verdict struct {
	lo, mid, hi float64
	floor       bool
	// middle tells that a probe away from top and floor had a part in it: there
	// water that settles after a soak is not taken for loss or gain.
	middle bool
	// joint tells that probes at different depths were read together.
	joint bool
	// half tells that one had a part in it that is deep enough to weigh by.
	half bool
}

// rise lifts all it says by so much, m³/m³.
func (v *verdict) rise(by float64) {
	if by != 0 {
		v.lo, v.mid, v.hi = garden.Share(v.lo+by), garden.Share(v.mid+by), garden.Share(v.hi+by)
	}
}

// judge turns a reading at the probe into bounds for the zone's mean.
//
// Two pictures bracket a drying pot. In the first it stays hydrostatic: one
// suction offset fits the whole profile. In the second water no longer moves
// and every layer has lost what its roots drank. Coarse mixes lie near the
// first while wet and near the second when dry. They agree at capacity, and in
// the middle of the pot; a probe near the top or the floor says less the drier
// the pot is, and the account of litres carries the zone in between.
func (pr *probePlan) judge(z *ZonePlan, root, reading float64) verdict {
	m, _ := pr.profile.ZoneMean(garden.WaterFraction(reading))
	still := float64(m)
	cc := float64(z.Capacity)
	gone := pr.atCapacity - reading
	if gone <= 0 {
		lo, hi := ordered(cc, still)
		return verdict{lo: lo, mid: cc + (still-cc)*(0.5+0.5*pr.rel), hi: hi}
	}
	// The wet mix at the floor gives more than its share, so the pot has lost
	// more than a probe above it tells; sun and air take that from the top.
	gone *= 1 + floorShare*garden.Share((pr.rel-0.15)/0.15)
	even := cc - gone
	if root < 1 && pr.rel <= root {
		// Young roots dry their own part only; a little moves up from below.
		even = cc - gone*(0.2+0.8*root)
	}
	w := stillShare * pr.rel * pr.rel * pr.rel * pr.rel
	mid := w*still + (1-w)*even
	lo, hi := ordered(still, even)
	return verdict{lo: garden.NotBelow0(lo), mid: garden.NotBelow0(mid), hi: garden.NotBelow0(hi)}
}

// ordered is the lesser of two numbers, of which none is NaN, and the other.
func ordered(a, b float64) (lo, hi float64) {
	if b < a {
		return b, a
	}
	return a, b
}

const (
	// apart is how far the outermost of several probes must be from each other, as
	// a share of the mix's depth, to be read together.
	apart = 0.3
	// beside is how near two probes are one: what differs there is noise, and no
	// profile.
	beside = 0.05
	// jointSlack is by how much their joint mean may be off, m³/m³: a pot is never
	// the same all round. Our judgement.
	jointSlack = 0.02
)

// consensus sets v to what the zone's trusted fresh probes say together: where they
// stand at different depths the profile between them, and else the median. It is
// false where there is none.
func (p *Plan) consensus(st *State, i int, now garden.Moment, v *verdict) bool {
	z, zp := &st.zones[i], &p.zones[i]
	if len(zp.probes) == 1 {
		// Nothing to order and to join.
		pr, ps := &p.probes[zp.probes[0]], &st.probes[zp.probes[0]]
		if !ps.has || ps.distrusted || ps.at != now.Mono {
			return false
		}
		*v = pr.judge(zp, z.root, ps.smooth)
		v.floor, v.half = pr.rel >= floorFrom, pr.rel >= halfFrom
		v.middle = pr.rel >= middleFrom && pr.rel <= middleTo
		v.rise(z.anchor.shift)
		return true
	}
	const most = 8
	var lo, mid, hi, depth, reading [most]float64
	n, floor, middle, half := 0, false, false, false
	for _, pi := range zp.probes {
		ps := &st.probes[pi]
		if n == most || !ps.has || ps.distrusted || ps.at != now.Mono {
			continue
		}
		one := p.probes[pi].judge(zp, z.root, ps.smooth)
		lo[n], mid[n], hi[n] = one.lo, one.mid, one.hi
		at := n
		for ; at > 0 && depth[at-1] > p.probes[pi].rel*zp.HeightCM; at-- {
			depth[at], reading[at] = depth[at-1], reading[at-1]
		}
		depth[at], reading[at] = p.probes[pi].rel*zp.HeightCM, ps.smooth
		floor = floor || p.probes[pi].rel >= floorFrom
		middle = middle || p.probes[pi].rel >= middleFrom && p.probes[pi].rel <= middleTo
		half = half || p.probes[pi].rel >= halfFrom
		n++
	}
	if n == 0 {
		return false
	}
	*v = verdict{lo: median(lo[:n]), mid: median(mid[:n]), hi: median(hi[:n]), floor: floor, middle: middle, half: half}
	if zp.joint != nil && n > 1 && depth[n-1]-depth[0] >= apart*zp.HeightCM {
		n = asOne(depth[:n], reading[:n], beside*zp.HeightCM)
		v.mid = zp.joint.Mean(depth[:n], reading[:n])
		v.lo, v.hi = max(0, v.mid-jointSlack), v.mid+jointSlack
		v.joint = true
	}
	v.rise(z.anchor.shift)
	return true
}

// asOne joins readings whose depths are within near of the one above into their
// mean, in place, and returns how many are left. Depths must not fall.
func asOne(depth, reading []float64, near float64) int {
	n, of := 0, 1.0
	for i := range depth {
		if n > 0 && depth[i]-depth[n-1] <= near {
			of++
			depth[n-1] += (depth[i] - depth[n-1]) / of
			reading[n-1] += (reading[i] - reading[n-1]) / of
			continue
		}
		depth[n], reading[n] = depth[i], reading[i]
		n, of = n+1, 1
	}
	return n
}

// median sorts x in place; it must hold at least one value.
func median(x []float64) float64 {
	for i := 1; i < len(x); i++ {
		for j := i; j > 0 && x[j] < x[j-1]; j-- {
			x[j], x[j-1] = x[j-1], x[j]
		}
	}
	n := len(x)
	if n%2 == 1 {
		return x[n/2]
	}
	return (x[n/2-1] + x[n/2]) / 2
}

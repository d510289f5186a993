package control

import (
	"math"
	"time"

	"fabricpot/control/garden"
)

const (
	// trustFor is how long a zone lives on its last good reading.
	trustFor = 30 * time.Minute
	// smoothFor is the time constant that takes a probe's noise away.
	smoothFor = 5 * time.Minute
	// unsettled is how long after water the profile is too far from rest for a
	// reading to say anything about the mean; settled is when it says all.
	unsettled = 2 * time.Hour
	settled   = 6 * time.Hour
	// memory is how long a reading's error stays the same: many readings in
	// that time are worth one.
	memory = 6 * time.Hour
	// readingSD is what a probe's reading errs by at best, m³/m³, and slack
	// what its bounds are widened by.
	readingSD = 0.010
	slack     = 0.012
	// unlikeSD is how far a day's loss strays from any constant factor, as a
	// share of the loss.
	unlikeSD = 0.15
	// factorDay is how much the demand factor may wander in a day.
	factorDay = 0.02
	// drainFor is the time constant at which a pot loses what is over capacity.
	drainFor = 90 * time.Minute
	// allowance over the modelled loss where no probe watches: a deficit adds
	// up, a surplus drains.
	allowance = 1.15
	// longSince stands for water nobody remembers.
	longSince = 1000 * time.Hour
)

// verdict is what one reading says about its zone's mean.
type verdict struct{ lo, mid, hi float64 }

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
		return verdict{lo: min(cc, still), mid: (cc + still) / 2, hi: max(cc, still)}
	}
	even := cc - gone
	// Roots and sun take more from the top than from the floor.
	skewed := cc - gone/(1.35-0.7*pr.rel)
	lo, hi := min(still, even, skewed), max(still, even, skewed)
	if root < 1 && pr.rel <= root {
		// Young roots dry their own part only.
		hi = max(hi, cc-gone*root)
	}
	lo, hi = max(lo, 0), max(hi, 0)
	return verdict{lo: lo, mid: (lo + hi) / 2, hi: hi}
}

// sinceWater is how long ago the zone last got water.
func (z *zoneState) sinceWater(now garden.Moment) time.Duration {
	if !z.hasWater {
		return longSince
	}
	return max(0, now.Mono-z.wetAt)
}

// credit books litres that came into a zone.
func (p *Plan) credit(st *State, i int, litres, doubt float64, at time.Duration) {
	z, zp := &st.zones[i], &p.zones[i]
	f := litres / zp.VolumeL
	z.water.Predict(0, f, 0, doubt*f*doubt*f)
	z.short = max(0, z.short-litres)
	if z.short == 0 {
		z.dryLoss = 0
	}
	z.gave += litres
	if !z.hasWater || at > z.wetAt {
		z.wetAt, z.hasWater = at, true
	}
}

// account moves every zone's water on by one tick and fuses its readings.
func (p *Plan) account(st *State, now garden.Moment, obs *garden.Observed, dt time.Duration, mm, rainMM float64) {
	p.listen(st, now, obs, dt)
	for i := range st.zones {
		p.accountZone(st, i, now, dt, mm, rainMM)
	}
}

// listen takes the readings in: smooths the good ones and keeps the peaks.
func (p *Plan) listen(st *State, now garden.Moment, obs *garden.Observed, dt time.Duration) {
	for i := range st.zones {
		st.zones[i].fresh = false
	}
	k := 1 - math.Exp(-float64(dt)/float64(smoothFor))
	for i := range st.probes {
		ps := &st.probes[i]
		if i >= len(obs.Readings) {
			continue
		}
		r := &obs.Readings[i]
		pp := &p.probes[i]
		v := float64(r.Water)
		if r.Probe != pp.id || pp.profile == nil || r.Quality == garden.Bad || !garden.Finite(v) || v < 0 || v > 1 {
			ps.wetTicks = 0
			continue
		}
		if v >= pp.wet {
			ps.wetTicks++
		} else {
			ps.wetTicks = 0
		}
		if r.Quality != garden.Good {
			continue
		}
		if !ps.has || now.Mono-ps.at > trustFor {
			ps.smooth = v
		} else {
			ps.smooth += k * (v - ps.smooth)
		}
		ps.has, ps.at = true, now.Mono
		if ps.started {
			ps.peak = max(ps.peak, ps.smooth)
		}
		if !ps.distrusted {
			st.zones[pp.zone].fresh = true
		}
	}
}

func (p *Plan) accountZone(st *State, i int, now garden.Moment, dt time.Duration, mm, rainMM float64) {
	z, zp := &st.zones[i], &p.zones[i]
	if zp.VolumeL <= 0 {
		return
	}
	h := dt.Hours()
	loss := mm * z.lossPerMM
	lossF := loss / zp.VolumeL
	// The day's strangeness lasts about a day: its variance adds up along it.
	strange := unlikeSD * unlikeSD * lossF * z.water.Factor * z.water.Factor
	if h > 0 {
		strange *= lossF / h * 12
	}
	z.water.Predict(lossF, 0, strange, 0)
	z.water.Drift(factorDay * factorDay * h / 24)
	z.short += allowance * loss * max(z.water.Factor, 1)
	z.dryLoss += loss * max(z.water.Factor, 1)
	if rainMM > 0 {
		p.rain(st, i, now, rainMM)
	}
	if over := z.water.Mean - float64(zp.Capacity); over > 0 {
		z.water.Hold(0, float64(zp.Capacity)+over*math.Exp(-float64(dt)/float64(drainFor)))
	}
	z.water.Hold(float64(zp.LowerLimit)/4, float64(zp.Porosity))
	p.fuse(st, i, now, dt)
	p.watchUnder(z, zp, dt)
}

// rain credits what falls into the pot; the canopy sheds a part of it.
func (p *Plan) rain(st *State, i int, now garden.Moment, mm float64) {
	z, zp := &st.zones[i], &p.zones[i]
	cover := 0.0
	if zp.AreaM2 > 0 {
		cover = min(z.canopyM2/zp.AreaM2, 1)
	}
	litres := mm * zp.AreaM2 * (1 - 0.5*cover)
	wet, has, gave := z.wetAt, z.hasWater, z.gave
	p.credit(st, i, litres, 0.5, now.Mono)
	z.gave = gave
	if mm < 0.05 {
		// A drizzle leaves the pot at rest.
		z.wetAt, z.hasWater = wet, has
	}
}

// fuse joins the good readings of a zone at rest with its account.
func (p *Plan) fuse(st *State, i int, now garden.Moment, dt time.Duration) {
	z, zp := &st.zones[i], &p.zones[i]
	if z.fresh {
		z.good, z.hasGood = now.Mono, true
	}
	trusted := z.hasGood && now.Mono-z.good <= trustFor
	if trusted != z.trusted && len(zp.probes) > 0 && st.began {
		kind := OnBalance
		if trusted {
			kind = OnProbe
		}
		st.note(Event{Kind: kind, At: now, Zone: zp.ID, Line: zp.Line})
	}
	z.trusted = trusted
	if !z.fresh {
		return
	}
	since := z.sinceWater(now)
	if since < unsettled {
		return
	}
	v, ok := p.consensus(st, i, now)
	if !ok {
		return
	}
	if !z.known {
		// The first word of a probe replaces the guess.
		z.known = true
		z.water.Mean = min(max(v.mid, 0), float64(zp.Porosity))
		z.water.Forget((v.hi-v.lo)*(v.hi-v.lo)/4 + readingSD*readingSD)
	}
	sd := readingSD + (v.hi-v.lo)/3
	if since < settled {
		sd *= 1 + 2*float64(settled-since)/float64(settled-unsettled)
	}
	// Readings within one memory are worth one.
	if dt > 0 {
		sd *= math.Sqrt(max(1, float64(memory)/float64(dt)))
		z.water.Update(v.mid, sd)
	}
	if since >= settled {
		z.water.Hold(v.lo-slack, v.hi+slack)
	}
	// What the probe says is also where the cautious balance would start from.
	z.short = max(0, (float64(zp.Capacity)-z.water.Mean)*zp.VolumeL)
	z.dryLoss = z.short
}

// consensus is the median of what the zone's trusted fresh probes say.
func (p *Plan) consensus(st *State, i int, now garden.Moment) (verdict, bool) {
	const most = 8
	var lo, mid, hi [most]float64
	n := 0
	z, zp := &st.zones[i], &p.zones[i]
	for _, pi := range zp.probes {
		ps := &st.probes[pi]
		if n == most || !ps.has || ps.distrusted || ps.at != now.Mono {
			continue
		}
		v := p.probes[pi].judge(zp, z.root, ps.smooth)
		lo[n], mid[n], hi[n] = v.lo, v.mid, v.hi
		n++
	}
	if n == 0 {
		return verdict{}, false
	}
	return verdict{lo: median(lo[:n]), mid: median(mid[:n]), hi: median(hi[:n])}, true
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

// refillAt is the zone's refill point today.
func (z *zoneState) refillAt(zp *ZonePlan) float64 { return float64(zp.Capacity) - z.band }

// watchUnder times how long the zone has been under its refill point without a
// break, on good readings alone.
func (p *Plan) watchUnder(z *zoneState, zp *ZonePlan, dt time.Duration) {
	if !z.fresh || !z.known || z.water.Mean > z.refillAt(zp) {
		z.isUnder, z.under = false, 0
		return
	}
	if !z.isUnder {
		z.isUnder, z.under = true, 0
		return
	}
	z.under += dt
}

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
	memory = 24 * time.Hour
	// readingSD is what a probe's reading errs by at best, m³/m³, and slack
	// what its bounds are widened by.
	readingSD = 0.010
	slack     = 0.012
	// unlikeSD is how far a day's loss strays from any constant factor, as a
	// share of the loss.
	unlikeSD = 0.15
	// stillShare is how much of the hydrostatic picture holds at the floor; it
	// falls off upwards, where a drying mix no longer passes water.
	stillShare = 0.9
	// floorShare is how much more a pot loses than a probe in its middle tells.
	floorShare = 0.1
	// factorDay is how much the demand factor may wander in a day.
	factorDay = 0.02
	// drainFor is the time constant at which a pot 20 cm tall loses what is over
	// capacity; a taller one takes longer, by the power drainPower of its height.
	drainFor   = 2 * time.Hour
	drainPower = 1.7
	// allowance over the modelled loss where no probe watches: a deficit adds
	// up, a surplus drains.
	allowance = 1.15
	// youngVar is the variance of the factor over which levels may teach it too.
	youngVar = 0.12 * 0.12
	// longSince stands for water nobody remembers.
	longSince = 1000 * time.Hour
)

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
	z.depth.gained(litres, (float64(zp.Capacity)-z.water.Mean)*zp.VolumeL, zp)
	z.water.Predict(0, f, 0, doubt*f*doubt*f)
	z.span.credit(litres, doubt)
	z.doubt.came(litres)
	z.short = max(0, z.short-litres)
	if z.short == 0 {
		z.dryLoss = 0
	}
	z.gave += litres
	z.wet(at)
}

// wet notes that water came at at.
func (z *zoneState) wet(at time.Duration) {
	z.drying, z.odd.open = false, false
	if !z.hasWater || at > z.wetAt {
		z.wetAt, z.hasWater = at, true
	}
}

// account moves every zone's water on by one tick and fuses its readings.
func (p *Plan) account(st *State, now garden.Moment, obs *garden.Observed, dt time.Duration, mm, rainMM float64) {
	// Ticks are as long as the one before them, but for a few: what follows from that
	// alone is kept with the length that it follows from. Its alike is 1 or more once it is.
	t := &st.tick
	if t.dt != dt || t.alike == 0 {
		*t = passed(dt)
	}
	p.listen(st, now, obs, t)
	for i := range st.zones {
		p.accountZone(st, i, now, t, mm, rainMM)
	}
	for i := range st.lines {
		p.compare(st, i)
	}
	p.watchFlows(st, now)
}

// tick is what follows for every zone alike from how much time has passed.
type tick struct {
	dt    time.Duration
	hours float64
	// smooth is smoothing, other and recent what is left of came's otherMM and
	// recentL, alike by what a reading's error grows so that those within one memory
	// are worth one.
	smooth, other, recent, alike float64
}

func passed(dt time.Duration) tick {
	return tick{
		dt: dt, hours: dt.Hours(), smooth: smoothing(dt),
		other: math.Exp(-float64(dt) / float64(otherFor)), recent: math.Exp(-float64(dt) / float64(suddenFor)),
		alike: math.Sqrt(max(1, float64(memory)/float64(max(dt, 1)))),
	}
}

// smoothing is how much of the way to a reading the smoothed one goes in dt.
func smoothing(dt time.Duration) float64 { return 1 - math.Exp(-float64(dt)/float64(smoothFor)) }

// listen takes the readings in: smooths the good ones and keeps how they moved.
func (p *Plan) listen(st *State, now garden.Moment, obs *garden.Observed, t *tick) {
	for i := range st.zones {
		st.zones[i].fresh = false
	}
	for i := range st.probes {
		ps := &st.probes[i]
		ps.beyond = false
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
			ps.beyond = r.Fault == garden.OutOfSpan && v > pp.wet
			continue
		}
		if !ps.has || now.Mono-ps.at > trustFor {
			ps.smooth = v
		} else {
			ps.smooth += t.smooth * (v - ps.smooth)
		}
		if !ps.has {
			ps.low, ps.high = v, v
		}
		if ps.smooth < ps.low {
			ps.low = ps.smooth
		}
		if ps.smooth > ps.high {
			ps.high = ps.smooth
		}
		ps.has, ps.at = true, now.Mono
		if ps.started {
			ps.least = min(ps.least, ps.smooth)
			ps.rise = max(ps.rise, ps.smooth-ps.least)
		}
		if !ps.distrusted && !st.zones[pp.zone].doubt.on {
			st.zones[pp.zone].fresh = true
		}
	}
}

func (p *Plan) accountZone(st *State, i int, now garden.Moment, t *tick, mm, rainMM float64) {
	z, zp := &st.zones[i], &p.zones[i]
	if zp.VolumeL <= 0 {
		return
	}
	p.fade(st, i, now, t, t.dt, mm, rainMM)
	p.watchCame(st, i, now, t)
	p.fuse(st, i, now, t)
	if !z.salts.dated && zp.washing.waterMS > 0 {
		if !z.salts.begun {
			z.depth.may = needHolds * zp.VolumeL
		}
		z.salts.begin(z.water.Mean, now, zp, z.place.stoodFrom)
	}
	z.deepen(zp)
	p.watchUnder(z, zp, t.dt)
}

// fuse joins the good readings of a zone at rest with its account.
func (p *Plan) fuse(st *State, i int, now garden.Moment, t *tick) {
	z, zp := &st.zones[i], &p.zones[i]
	p.watchDoubt(st, i, now)
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
	p.watchArrival(st, i, now)
	if !z.fresh {
		return
	}
	since := z.sinceWater(now)
	if since < unsettled {
		return
	}
	var v verdict
	if !p.consensus(st, i, now, &v) {
		return
	}
	if !z.known {
		// The first word of a probe replaces the guess.
		z.known = true
		z.water.Mean = min(max(v.mid, 0), float64(zp.Porosity))
		z.water.Forget((v.hi-v.lo)*(v.hi-v.lo)/4 + readingSD*readingSD)
	}
	z.blind, z.half = !v.floor, v.half
	bare := z.empty() // how that dries says nothing of a plant
	if !bare {
		p.learn(z, v.mid, float64(zp.Capacity), now, since)
	}
	if !bare && since >= settled && (!z.blind || z.half && !z.spreads(zp, v.mid, now.Mono)) {
		z.weigh(zp, v.mid, now)
	}
	if since >= settled {
		switch {
		case zp.line < 0 || z.blind && !z.half:
		case z.salt > arrivedSalt:
			z.arrival.open, z.anchor.open = false, false
		case !st.lines[zp.line].flows():
			if v.joint { // one probe sees how water spreads, too
				z.lookArrived(zp, v.mid, now.Mono)
			}
			if zp.compared && z.salt <= restedSalt {
				z.lookUneven(zp, v.mid)
			}
			was := z.anchor.shift
			p.lookFull(st, i, v.mid, now, since)
			v.rise(z.anchor.shift - was)
		}
		if !bare {
			p.watchOdd(st, i, &v, now)
		}
	}
	salt := z.salt
	if !(salt >= 1) {
		salt = 1
	}
	sd := (readingSD + (v.hi-v.lo)*0.15) * salt
	if since < settled {
		sd *= 1 + 2*float64(settled-since)/float64(settled-unsettled)
	}
	if t.dt > 0 {
		sd *= t.alike
		switch {
		case !z.blind && z.water.VarFactor > youngVar && !bare:
			// Nothing was weighed yet: the level tells what it can.
			z.water.Update(v.mid, sd)
		case !z.blind:
			z.water.UpdateMean(v.mid, sd)
		case v.mid < z.water.Mean:
			z.water.UpdateMean(v.mid, sd)
		}
	}
	if since >= settled {
		lo := v.lo - slack*salt
		if z.blind {
			lo = min(v.mid, float64(zp.Capacity)) - blindSlack*zp.band(1)
		}
		z.water.Hold(lo, v.hi+slack)
		z.water.Sure(readingSD + (v.hi+slack-lo)/5)
	}
	// What the probe says is also where the cautious balance would start from.
	z.short = garden.NotBelow0((float64(zp.Capacity) - z.water.Mean) * zp.VolumeL)
	z.dryLoss = z.short
}

const (
	// blindSlack, a share of the band, is how much drier than it reads a zone may
	// be taken to be where nothing watches its floor.
	blindSlack = 0.9
	// floorFrom is the depth from which a probe tells of the floor.
	floorFrom = 0.6
	// halfFrom is the depth from which a probe's looks are worth weighing litres
	// by, and halfDryingSD how much less its dryings tell then.
	halfFrom     = 0.35
	halfDryingSD = 0.12
	// A drying is judged from dryingFrom after water on, over at least
	// leastDrying of modelled loss and leastDryingFor.
	dryingFrom     = 4 * time.Hour
	leastDrying    = 0.015
	leastDryingFor = 24 * time.Hour
	// mostDrying bounds what a drying may say: the top of a pot dries faster
	// than the pot.
	mostDrying = 1.5
)

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

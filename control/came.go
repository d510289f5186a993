package control

import (
	"time"

	"fabricpot/control/garden"
)

const (
	// cameLeast is how much uncounted water a zone must have been given by rating,
	// as a share of its volume, for a probe to tell of it.
	cameLeast = 0.005
	// cameWithin is how long after the last uncounted water a reading tells of it.
	cameWithin = 12 * time.Hour
	// otherFor is the time constant at which rain and what a gardener poured are
	// forgotten, otherLeast what of them, mm over the pot, hides what a pump gives: a
	// reading deep in a pot rises a day after a downpour.
	otherFor   = 12 * time.Hour
	otherLeast = 0.5
	// countedFor is how long water that the meter counted hides what comes after it:
	// it still spreads.
	countedFor = 4 * time.Hour
	// cameShare is what a reading must rise by of what its zone was given, m³/m³ of
	// m³/m³: overnight it rises a little by itself.
	cameShare = 0.1
	// A reading that jumps by suddenLeast from one round to the next, and by more than
	// suddenTimes what its zone was given within about suddenFor, m³/m³ of m³/m³, does
	// so by itself: a plug was changed, or a drift has ended. Water that arrives at a
	// probe jumps by at most 1.6 times that in simulated pots of 20 to 150 L.
	suddenLeast = 0.004
	suddenTimes = 2
	suddenFor   = 30 * time.Minute
)

// came watches the probes of zones behind a pump whose meter counts nothing: water
// that is seen to arrive tells that the meter has failed and not the supply.
type came struct {
	// givenL is what was given uncounted in all by rating, L.
	givenL float64
	// recentL is what was of late, forgotten with suddenFor, L.
	recentL float64
	// from and till are since and until when its probes are watched.
	from, till time.Duration
	// otherMM is what other water came lately, mm over the pot.
	otherMM float64
}

// cameProbe is one probe's part: low its lowest reading since it is watched or last
// told of water or jumped by itself, fromL the zone's givenL then, last its last one.
type cameProbe struct {
	on               bool
	low, fromL, last float64
}

// uncounted books water that a pump gave by rating and its meter did not count.
func (p *Plan) uncounted(st *State, li int, d *garden.Delivery, mono time.Duration) {
	for _, zi := range p.lines[li].zones {
		c := &st.zones[zi].came
		if !d.Uncounted {
			c.from, c.till = mono+countedFor, mono // its meter counts
			continue
		}
		gave := p.lines[li].FlowLPH * max(0, d.Open).Hours() * p.zones[zi].share
		c.givenL, c.recentL = c.givenL+gave, c.recentL+gave
		c.till = mono + cameWithin
	}
}

// expectWater has a line's probes watched from an order on: what they read before it
// is what they are compared with.
func (p *Plan) expectWater(st *State, li int, o *garden.Order, now garden.Moment) {
	for _, zi := range p.lines[li].zones {
		c := &st.zones[zi].came
		c.till = max(c.till, now.Mono+o.MaxOn+lostAfter)
	}
}

// underWay is what a zone's line may have given it of the pulse that it gives, L.
func (p *Plan) underWay(st *State, zi int, now garden.Moment) float64 {
	li := p.zones[zi].line
	if li < 0 || st.lines[li].phase != garden.Pulsing {
		return 0
	}
	return p.lines[li].FlowLPH * (now.Mono - st.lines[li].at).Hours() * p.zones[zi].share
}

// otherWater books litres that no pump gave.
func (c *came) otherWater(litres float64, zp *ZonePlan) {
	if zp.AreaM2 > 0 {
		c.otherMM += litres / zp.AreaM2
	}
}

// watchCame looks whether a probe of a zone answers to uncounted water.
func (p *Plan) watchCame(st *State, zi int, now garden.Moment, t *tick) {
	z, zp := &st.zones[zi], &p.zones[zi]
	c := &z.came
	if c.otherMM > 0 {
		c.otherMM *= t.other
	}
	c.recentL *= t.recent
	if !(now.Mono >= c.from && now.Mono <= c.till && c.otherMM < otherLeast) {
		for _, pi := range zp.probes {
			st.probes[pi].came.on = false
		}
		return
	}
	sudden := max(suddenLeast, suddenTimes*(c.recentL+p.underWay(st, zi, now))/zp.VolumeL)
	for _, pi := range zp.probes {
		ps, cp := &st.probes[pi], &st.probes[pi].came
		if !ps.has || ps.distrusted || ps.at != now.Mono {
			continue
		}
		if !cp.on {
			*cp = cameProbe{on: true, low: ps.smooth, fromL: c.givenL, last: ps.smooth}
			continue
		}
		jump := (ps.smooth - cp.last) / t.smooth
		if cp.last = ps.smooth; jump > sudden {
			cp.low, cp.fromL = ps.smooth, c.givenL
			continue
		}
		cp.low = min(cp.low, ps.smooth)
		rose, gave := ps.smooth-cp.low, c.givenL-cp.fromL
		if rose < max(answerLeast, cameShare*gave/zp.VolumeL) || gave < cameLeast*zp.VolumeL {
			continue
		}
		st.note(Event{Kind: WaterCame, At: now, Zone: zp.ID, Line: zp.Line, Probe: p.probes[pi].id, A: rose, B: gave})
		cp.low, cp.fromL = ps.smooth, c.givenL
	}
}

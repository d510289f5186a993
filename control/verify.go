package control

import "fabricpot/control/garden"

const (
	// A probe of the upper third is judged when its reading should have risen by
	// judgeFrom, and has answered when it rose by answerLeast.
	judgeFrom   = 0.03
	answerLeast = 0.008
	// One further down than slowFrom is judged after slowRefills whole bands of
	// water, and has answered when it moved by slowAnswer either way. Where the
	// largest watering was a part of a band, by that part of it but answerLeast.
	slowFrom    = 0.3
	slowRefills = 2.5
	slowAnswer  = 0.015
	// A distrusted probe is trusted again when it moved by this.
	backFrom = 0.02
)

// verify looks at a line's zones at rest after a session: did the probes move.
func (p *Plan) verify(st *State, i int, now garden.Moment) {
	l := &st.lines[i]
	l.verify = false
	for _, zi := range p.lines[i].zones {
		p.judgeProbes(st, zi, now)
	}
}

func (p *Plan) judgeProbes(st *State, zi int, now garden.Moment) {
	z, zp := &st.zones[zi], &p.zones[zi]
	// What was over capacity drained and can't have lifted any reading for long.
	rise := min(z.gave/zp.VolumeL, float64(zp.Capacity)-z.before)
	judged, dumb, answered := 0, 0, p.answered(st, zi)
	for _, pi := range zp.probes {
		ps, pp := &st.probes[pi], &p.probes[pi]
		if !ps.started || pp.profile == nil {
			continue
		}
		ps.started = false
		if now.Mono-ps.at > trustFor {
			continue // it gave nothing, which is no answer either way
		}
		ps.given += z.gave
		ps.most = max(ps.most, z.gave)
		moved := ps.rise
		if pp.rel > slowFrom {
			moved = ps.high - ps.low
		}
		if ps.distrusted {
			if ps.rise >= backFrom && !ps.confused {
				ps.distrusted, z.dumb = false, false
				ps.answer()
				st.note(Event{Kind: ProbeBack, At: now, Zone: zp.ID, Probe: pp.id})
			}
			continue
		}
		if !p.mustHaveMoved(zi, pp, ps, z.before, rise) {
			if moved >= slowAnswer {
				ps.answer()
			}
			continue
		}
		judged++
		least := answerLeast
		if pp.rel > slowFrom {
			// Water ahead of a heat, day by day, is drunk before much comes down.
			least = max(answerLeast, slowAnswer*min(ps.most/(zp.band(1)*zp.VolumeL), 1))
		}
		if moved < least && answered && pp.rel > slowFrom && ps.smooth < float64(pp.profile.AtProbe(zp.Refill)) {
			// It is dry down there and the water stays above: the probe is right,
			// and the less to be doubted the drier it reads.
			judged--
		} else if moved < least {
			dumb++
			ps.distrusted = true
			st.note(Event{Kind: ProbeNoResponse, At: now, Zone: zp.ID, Line: zp.Line, Probe: pp.id, A: ps.given, B: moved})
		}
		ps.answer()
	}
	if answered {
		z.dumb = false
	}
	if judged > 0 && dumb == judged && !answered {
		z.dumb = true
		// What they said since the water drew the account down for nothing.
		// Half of the water: the probes may be out, or none came.
		z.water.Mean = z.before + rise/2 - z.water.Factor*(z.spent-z.spentFrom)
		z.water.Forget(0.25 * rise * rise)
		z.short = max(0, (float64(zp.Capacity)-z.water.Mean)*zp.VolumeL)
		z.dryLoss = z.short
		if zp.LeachByNeed {
			// Nor has what the book had drain of it washed anything.
			z.depth.short, z.depth.over, z.depth.may = max(z.depth.short, z.short), 0, max(z.depth.may, z.wasMay)
			z.salts.back(&z.wasSalts, z.gave/2, zp)
		}
		st.note(Event{Kind: ZoneNoResponse, At: now, Zone: zp.ID, Line: zp.Line, A: z.gave})
	}
}

// answer begins anew what the probe is to answer next.
func (ps *probeState) answer() {
	ps.low, ps.high, ps.given, ps.most = ps.smooth, ps.smooth, 0, 0
}

// answered reports whether a probe of the zone moved with the session's water.
func (p *Plan) answered(st *State, zi int) bool {
	for _, pi := range p.zones[zi].probes {
		if ps := &st.probes[pi]; ps.started && !ps.distrusted && ps.rise >= answerLeast {
			return true
		}
	}
	return false
}

// mustHaveMoved reports whether the water since the probe's last answer must
// have reached it. Water gets to the upper third with every session. Further
// down it may take several and a day each, since the mix above is filled first.
func (p *Plan) mustHaveMoved(zi int, pp *probePlan, ps *probeState, before, rise float64) bool {
	zp := &p.zones[zi]
	if pp.rel > slowFrom {
		return ps.given >= slowRefills*zp.band(1)*zp.VolumeL
	}
	still := float64(pp.profile.AtProbe(garden.WaterFraction(before+rise)) - pp.profile.AtProbe(garden.WaterFraction(before)))
	return min(rise, still) >= judgeFrom
}

// topUp is the zone of a line that the last session left short, or -1. A pot is
// wetter just after a soak than it will be, so only a look at rest can tell.
func (p *Plan) topUp(st *State, i int) int {
	l := &st.lines[i]
	if l.verify || l.topped || l.kind != garden.Irrigate || l.planned == 0 {
		return -1
	}
	for _, zi := range p.lines[i].zones {
		z, zp := &st.zones[zi], &p.zones[zi]
		since := st.last.Mono - z.wetAt
		if z.empty() || !z.trusted || !z.fresh || !z.known || !z.hasWater || since < settled || since > settled+settled/3 {
			continue
		}
		if z.water.Mean < z.stop(zp)-max(0.03, 0.4*z.band) {
			return zi
		}
	}
	return -1
}

package control

import "fabricpot/control/garden"

const (
	// A probe is judged when its reading should have risen by judgeFrom, and
	// has answered when it moved by answerShare of that, at least answerLeast.
	judgeFrom   = 0.03
	answerShare = 0.2
	answerLeast = 0.008
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
	judged, dumb := 0, 0
	for _, pi := range zp.probes {
		ps, pp := &st.probes[pi], &p.probes[pi]
		if !ps.started || pp.profile == nil {
			continue
		}
		ps.started = false
		moved := ps.peak - ps.start
		if ps.distrusted {
			if moved >= backFrom {
				ps.distrusted = false
				st.note(Event{Kind: ProbeBack, At: now, Zone: zp.ID, Probe: pp.id})
			}
			continue
		}
		still := float64(pp.profile.AtProbe(garden.WaterFraction(z.before+rise)) - pp.profile.AtProbe(garden.WaterFraction(z.before)))
		if min(rise, still) < judgeFrom {
			continue
		}
		judged++
		if moved < max(answerLeast, answerShare*min(rise, still)) {
			dumb++
			ps.distrusted = true
			st.note(Event{Kind: ProbeNoResponse, At: now, Zone: zp.ID, Line: zp.Line, Probe: pp.id, A: z.gave, B: moved})
		}
	}
	if judged > 0 && dumb == judged {
		st.note(Event{Kind: ZoneNoResponse, At: now, Zone: zp.ID, Line: zp.Line, A: z.gave})
	}
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
		if !z.trusted || !z.fresh || !z.known || !z.hasWater || since < settled || since > settled+settled/3 {
			continue
		}
		if z.water.Mean < float64(zp.Stop)-max(0.03, 0.4*z.band) {
			return zi
		}
	}
	return -1
}

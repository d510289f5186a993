package control

import (
	"math"
	"time"

	"fabricpot/control/garden"
)

// With a meter a pulse ends by what was counted, however long that takes: a line whose
// emitters clog waters its pots all the same, until one day it can't. So the flow that a
// line has alone is held against what it used to be, whatever its emitters' label says.

// All are our judgement.
const (
	// A look at a flow is flowCounts pulses of the meter, one more or less of which is
	// 3 %, of openings in which nothing ran beside the line, each of flowOpen or more:
	// shorter ones tell of pipes that fill.
	flowCounts = 32
	flowOpen   = 2 * time.Minute
	// usualFlows say what is usual. From then on it rises by a part of what is more, and
	// sinks over half a year to what is less: emitters that clog within weeks are not to
	// become the usual.
	usualFlows = 5
	flowRises  = 1.0 / 8
	flowSinks  = 180 * 24 * time.Hour
	// lessFlows looks running under lessFlow of it, over lessFlowFor, are told: not one
	// morning of low pressure. They are until one is over enoughFlow.
	lessFlow, enoughFlow = 0.75, 0.85
	lessFlows            = 3
	lessFlowFor          = 6 * time.Hour
	// A flow over moreFlow is another's, or of a hose that came off.
	moreFlow = 1.25
	// Looks that for so long are none of the usual are what is usual.
	resignedFlows = 42 * 24 * time.Hour
	// lessFlowSeen is how long what was seen is told.
	lessFlowSeen = 8 * 24 * time.Hour
)

// lineFlow watches what a line gives by itself.
type lineFlow struct {
	usual float64 // L/h, of so many looks
	looks int
	// less are looks running under the limit, since the first of them; odd tells of looks
	// under it or far over the usual, since the first of those.
	less            int
	since, oddSince time.Duration
	odd             bool
	seen            time.Duration // the last look
	ratio           float64       // to what is usual
	lph             float64
	told            time.Duration
	hasTold         bool
	// Of the look that is under way.
	litres, hours float64
}

// flowed takes in a delivery that just ended.
func (l *lineFlow) flowed(d *garden.Delivery, pulsesPerL float64, now time.Duration) {
	if !d.Metered || !d.Alone || d.DosedL > 0 || d.Open < flowOpen || d.End == garden.Faulted || d.End == garden.Unfinished || !(pulsesPerL > 0) {
		return
	}
	l.litres, l.hours = l.litres+d.Litres, l.hours+d.Open.Hours()
	if l.litres*pulsesPerL < flowCounts {
		return
	}
	l.saw(l.litres/l.hours, now)
	l.litres, l.hours = 0, 0
}

// saw takes in a look, L/h.
func (l *lineFlow) saw(lph float64, now time.Duration) {
	passed := now - l.seen
	l.lph, l.seen = lph, now
	if l.looks >= usualFlows {
		l.ratio = lph / l.usual
		limit := lessFlow
		if l.less >= lessFlows {
			limit = enoughFlow
		}
		under := l.ratio < limit
		if !under {
			l.less = 0
		} else if l.less++; l.less == 1 {
			l.since = now
		}
		if under || l.ratio > moreFlow {
			if !l.odd {
				l.odd, l.oddSince = true, now
			}
			if now-l.oddSince < resignedFlows {
				return
			}
			*l = lineFlow{seen: now}
		}
	}
	l.odd = false
	switch l.looks++; {
	case l.looks <= usualFlows:
		l.usual += (lph - l.usual) / float64(l.looks)
	case lph > l.usual:
		l.usual += flowRises * (lph - l.usual)
	default:
		l.usual += -math.Expm1(-float64(max(0, passed))/float64(flowSinks)) * (lph - l.usual)
	}
	l.looks = min(l.looks, usualFlows+1)
}

// isLess reports whether the line gives less than it used to.
func (l *lineFlow) isLess() bool { return l.less >= lessFlows && l.seen-l.since >= lessFlowFor }

// watchFlows tells of lines that give less than they used to, as long as that was seen
// lately: of each, or where all do, of their supply.
func (p *Plan) watchFlows(st *State, now garden.Moment) {
	known, less, ratio, due := 0, 0, 0.0, false
	for i := range st.lines {
		l := &st.lines[i].flow
		if l.looks < usualFlows || now.Mono-l.seen > lessFlowSeen {
			continue
		}
		if known++; l.isLess() {
			less++
			ratio += l.ratio
			due = due || !l.hasTold || now.Mono-l.told >= oddAgain
		}
	}
	if !due {
		return
	}
	all := less == known && less > 1
	if all {
		st.note(Event{Kind: LessFlows, At: now, A: ratio / float64(less)})
	}
	for i := range st.lines {
		l := &st.lines[i].flow
		if !l.isLess() || now.Mono-l.seen > lessFlowSeen || !all && l.hasTold && now.Mono-l.told < oddAgain {
			continue
		}
		l.told, l.hasTold = now.Mono, true
		if !all {
			st.note(Event{Kind: LessFlows, At: now, Line: p.lines[i].ID, A: l.ratio, B: l.lph})
		}
	}
}

// LineMemory is what a restart must not take for usual: what a line of so many L/h by its
// rating gives by itself, L/h, by a meter of so many pulses a litre; and how many looks
// running gave less, over how many hours, the last of them Ago hours before.
type LineMemory struct {
	Line  garden.LineID `json:"line"`
	Rated float64       `json:"rated_lph"`
	PerL  float64       `json:"pulses_per_l"`
	Usual float64       `json:"usual_lph"`
	Less  int           `json:"less,omitempty"`
	Hours float64       `json:"hours,omitempty"`
	Ratio float64       `json:"ratio,omitempty"`
	Ago   float64       `json:"ago,omitempty"`
}

// rememberFlows leaves out lines of which nothing is usual yet.
func (p *Plan) rememberFlows(st *State, now time.Duration) (out []LineMemory) {
	for i := range p.lines {
		l := &st.lines[i].flow
		if l.looks < usualFlows {
			continue
		}
		r := LineMemory{Line: p.lines[i].ID, Rated: p.lines[i].FlowLPH, PerL: p.supply.MeterPulsesPerL.Or(0), Usual: l.usual}
		if l.less > 0 {
			r.Less, r.Hours, r.Ratio, r.Ago = l.less, (l.seen - l.since).Hours(), l.ratio, (now - l.seen).Hours()
		}
		out = append(out, r)
	}
	return out
}

// recallFlows brings in what is sane and of a line that is rated as it was, kept age ago.
// What gave less counts on where it was seen lately.
func (p *Plan) recallFlows(st *State, now, age time.Duration, lines []LineMemory) {
	for _, r := range lines {
		i := p.lineIndex(r.Line)
		if i < 0 || !sound(r.Rated, r.Usual) || r.Rated != p.lines[i].FlowLPH || r.PerL != p.supply.MeterPulsesPerL.Or(0) || r.Usual == 0 {
			continue
		}
		l := &st.lines[i].flow
		*l = lineFlow{usual: r.Usual, looks: usualFlows, seen: now}
		if r.Less <= 0 || !sound(r.Hours, r.Ratio, r.Ago) || r.Hours > resignedFlows.Hours() || age > lessFlowSeen || hours(r.Ago)+age > lessFlowSeen {
			continue
		}
		l.less, l.ratio, l.lph, l.odd = r.Less, r.Ratio, r.Ratio*r.Usual, true
		l.seen = now - age - hours(r.Ago)
		l.since = l.seen - hours(r.Hours)
		l.oddSince = l.since
	}
}

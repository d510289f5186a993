package control

import "fabricpot/control/garden"

// TakeBack ends all lending of lines. A caller that lends says so before each
// Step anew.
func (st *State) TakeBack() {
	for i := range st.lines {
		st.lines[i].lent, st.lines[i].lentOpen = false, false
	}
}

// Lend gives a line to a feed: Step begins no watering on it, and while open is
// set its flow counts against the supply. What flows for the feed is credited
// to the zones like any delivery. Survival doses, which come only while
// automatic control is off, need no leave. An unknown line is ignored.
func (p *Plan) Lend(st *State, line garden.LineID, open bool) {
	if i := p.lineIndex(line); i >= 0 {
		st.lines[i].lent, st.lines[i].lentOpen = true, open
	}
}

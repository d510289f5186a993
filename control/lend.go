package control

import (
	"math"

	"fabricpot/control/garden"
)

// TakeBack ends all lending of lines and what feeds said of washes. A caller that
// lends says so before each Step anew.
func (st *State) TakeBack() {
	for i := range st.lines {
		st.lines[i].lent, st.lines[i].lentOpen, st.lines[i].keptDry = false, false, false
	}
	for i := range st.zones {
		st.zones[i].washLater = false
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

// KeepDry has no watering of Step's own begin on a line, since a feed is to find room
// there; what a person asks for is given. It holds until TakeBack; an unknown line is
// ignored.
func (p *Plan) KeepDry(st *State, line garden.LineID) {
	if i := p.lineIndex(line); i >= 0 {
		st.lines[i].keptDry = true
	}
}

// DelayWash tells that a zone's feed is due or near: no wash begins before it, which
// would find the pot full. Once much is owed the wash waits for nothing. It holds until
// TakeBack; an unknown zone is ignored.
func (p *Plan) DelayWash(st *State, zone garden.ZoneID) {
	if i := p.zoneIndex(zone); i >= 0 {
		st.zones[i].washLater = true
	}
}

// Food says what the food that is dissolved in a zone's water adds to its salts, mS/cm · L.
// It holds until it is said anew, less what drains meanwhile; what is not finite or less
// than 0 is ignored, and so is an unknown zone.
func (p *Plan) Food(st *State, zone garden.ZoneID, load float64) {
	if i := p.zoneAfter(st, zone); i >= 0 {
		st.zones[i].salts.fed(load, &p.zones[i])
	}
}

// Doubt says by what factor the variance of a zone's readings is larger than
// usual from now on: salt of a feed makes a capacitive probe read wet. 1 ends
// it; what is not finite or less counts as 1.
func (p *Plan) Doubt(st *State, zone garden.ZoneID, variance float64) {
	if i := p.zoneAfter(st, zone); i >= 0 {
		st.zones[i].salt = 1
		if garden.Finite(variance) && variance > 1 {
			st.zones[i].salt = math.Sqrt(variance)
		}
	}
}

package control

import (
	"time"

	"fabricpot/control/garden"
)

// Where one probe stands in the middle of a pot, water that still spreads hides
// where a filling ends, and a pot that runs over shows only as one that drinks much.
// Filled a little less high it drinks as before, unless that was water that ran
// through.

// All are our judgement, tried on the simulator's pots.
const (
	// A zone that over thirstSpans spans drinks thirsty times what the book says, and no
	// more than a plant can, is filled less by thirstStep, m³/m³, and stays so where it
	// then drinks less by thirstLess of what the book says; if not it is asked again
	// after thirstAgain.
	thirstSpans = 4
	thirsty     = 1.2
	thirstStep  = 0.03
	thirstLess  = 0.10
	thirstAgain = 30 * 24 * time.Hour
	// thirstDoubt is the doubt about what came in, as a share of the book's losses,
	// from which a span says nothing here: rain is half a guess.
	thirstDoubt = 0.25
)

// thirst is what a zone that one probe in the middle watches drank over some spans.
type thirst struct {
	gone, spent float64
	spans       int
	trying      bool
	before      float64 // what it drank before, against the book
	till        time.Duration
	wait        time.Duration
	// found tells that what its readings are corrected by was found in this way.
	found bool
}

// weighed takes in a span.
func (t *thirst) weighed(gone, spent, doubt float64) {
	if doubt > thirstDoubt {
		return
	}
	t.gone, t.spent, t.spans = t.gone+gone, t.spent+spent, t.spans+1
}

// begin starts anew from now on.
func (t *thirst) begin() { t.gone, t.spent, t.spans = 0, 0, 0 }

// watchThirst decides what the spans say, and tells whether levels mean something
// else now.
func (p *Plan) watchThirst(st *State, i int, now garden.Moment) bool {
	a := &st.zones[i].anchor
	t := &a.thirst
	if t.spans < thirstSpans || t.spent <= 0 {
		return false
	}
	drinks := t.gone / t.spent
	t.begin()
	switch {
	case t.trying && drinks <= t.before-thirstLess:
		t.trying, t.found, t.wait = false, true, 0
		p.accept(st, i, drinks <= t.before-tellLess, now)
	case t.trying:
		t.trying = false
		t.wait = min(max(2*t.wait, thirstAgain), mostWait)
		t.till = now.Mono + t.wait
		p.reAnchor(st, i, -thirstStep)
		return true
	}
	if drinks < thirsty || drinks >= oddMore || now.Mono < t.till || a.shift+thirstStep > mostReadsDry {
		return false
	}
	t.trying, t.before = true, drinks
	p.reAnchor(st, i, thirstStep)
	return true
}

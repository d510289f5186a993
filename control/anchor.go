package control

import (
	"time"

	"fabricpot/control/garden"
)

// A probe that reads too dry makes its pot run over: it is filled to a capacity
// that its reading never comes to. But no pot at rest holds more than it drains
// to. So fillings that should have lifted it higher and end at one and the same
// level, short of its capacity, are either of a full pot, or of one that gets less
// than it is said to. A filling that aims no higher than that level tells the two
// apart and costs no water: all of it stays in the pot, or a part is missing again.
// Where it stays, that level is what this probe reads in the drained pot, and from
// then on all readings are taken to be higher by what is missing to capacity.

// All are our judgement, tried on the simulator's pots.
const (
	// mostReadsDry bounds the correction, m³/m³. A calibration that is further off
	// is a fault.
	mostReadsDry = 0.08
	// A filling has ended too low where missingLeast, and missingShare of what came,
	// are missing, and the level is belowFull under the capacity.
	missingLeast = 0.004
	missingShare = 0.15
	belowFull    = 0.010
	// sameLevel is by how much levels differ that are one, m³/m³.
	sameLevel = 0.004
	nearLevel = 0.010
	// levelFillings that end at one level within levelFor make it worth a try, and
	// tryFillings decide. A level that was refused is not tried again for tryAgain,
	// and each time for twice as long, up to mostWait.
	levelFillings = 3
	levelFor      = 10 * 24 * time.Hour
	tryFillings   = 2
	// A pot that gets less than it is said to misses as large a share in a try as in
	// the fillings before it; one that was full misses less than stillLacks of that.
	stillLacks = 0.5
	tryAgain   = 10 * 24 * time.Hour
	mostWait   = 60 * 24 * time.Hour
	// leastTry is what must come for a try to tell anything, and arrivesLeast what
	// may be missing of it at least, m³/m³.
	leastTry     = 0.015
	arrivesLeast = 0.005
	// fillingFor is how long a filling takes at most, with its look at rest.
	fillingFor = 36 * time.Hour
	// tryFor is how long a try takes at most.
	tryFor = 20 * 24 * time.Hour
	// A corrected zone is filled higher by higherBy every higherEvery, each time that
	// it does not rise for twice as long, up to mostWait: the probe may read higher
	// again.
	higherBy    = 0.02
	higherEvery = 20 * 24 * time.Hour
	overFull    = 0.008
	// drainedAfter is how long after water a level over capacity is no longer water
	// that drains.
	drainedAfter = 12 * time.Hour
	// leastFactor and mostFactor bound the demand factor that fillings are judged by:
	// water that runs through is learnt as thirst.
	leastFactor, mostFactor = 0.75, 1.3
	// People are told of tellFrom, m³/m³, and again of tellMore more, where tellLacked
	// was missing in all or the zone drank less by tellLess: a pot that is filled less
	// high for nothing fares as well. Fillings that prove tellAnyhow are clear too; what
	// a zone drinks is not, since it is found in steps, each by little.
	tellFrom, tellMore   = 0.03, 0.015
	tellLacked, tellLess = 0.05, 0.25
	tellAnyhow           = 0.05
	// otherLevelSD is how unsure the demand factor gets by a correction: it was learnt
	// from water of which a part ran through.
	otherLevelSD = 0.2
)

// anchor is what a zone's probes read where it is full.
type anchor struct {
	look
	at    time.Duration // of the look
	shift float64       // how much too dry they read, 0 to mostReadsDry
	// level is where fillings ended, at rest, how many of them and when the last.
	level    float64
	fillings int
	lacked   share // what was missing in them
	seen     time.Duration
	// trying tells that fillings aim at level, stays and lacks what they showed.
	trying       bool
	stays, lacks int
	missed       share         // in these
	wait, till   time.Duration // after a try in vain
	// higher tells that the next filling aims over capacity, due from next on.
	higher      bool
	every, next time.Duration
	told        float64 // the shift people were told of
	thirst      thirst
}

// share is what was missing, m³/m³, of what came.
type share struct{ missing, came float64 }

func (s *share) add(missing, came float64) { s.missing, s.came = s.missing+missing, s.came+came }

// stop is where the zone's fillings end today.
func (z *zoneState) stop(zp *ZonePlan) float64 {
	switch a := &z.anchor; {
	case a.trying:
		return max(min(float64(zp.Stop), a.level), z.refillAt(zp)+leastTry)
	case a.higher:
		return min(max(float64(zp.Stop), float64(zp.Capacity)+higherBy), float64(zp.Porosity))
	}
	return float64(zp.Stop)
}

// fullAt is the level at which the zone counts as full today.
func (z *zoneState) fullAt(zp *ZonePlan) float64 {
	if z.anchor.trying {
		return min(float64(zp.Capacity), z.anchor.level)
	}
	return float64(zp.Capacity)
}

// lookFull is a look at a zone at rest that stands at mid.
func (p *Plan) lookFull(st *State, i int, mid float64, now garden.Moment, since time.Duration) {
	z, zp := &st.zones[i], &p.zones[i]
	a, cc := &z.anchor, float64(zp.Capacity)
	if z.blind && !a.trying && p.watchThirst(st, i, now) {
		return
	}
	a.trying = a.trying && now.Mono-a.seen <= tryFor
	found := a.thirst.found || a.thirst.trying
	if a.shift > 0 {
		if over := mid - cc; over > overFull && (since >= drainedAfter && !found || since >= 2*drainedAfter) {
			a.thirst.trying = false
			p.reAnchor(st, i, -over)
			return
		}
		a.higher = a.higher || now.Mono >= a.next && !found
	}
	if !a.open || a.came == 0 || now.Mono-a.at > fillingFor {
		a.begin(mid, z.spent)
		a.at = now.Mono
		return
	}
	came := a.came / zp.VolumeL
	loss := min(max(z.water.Factor, leastFactor), mostFactor) * (z.spent - a.spent)
	due := a.mid + came - loss
	a.begin(mid, z.spent)
	a.at = now.Mono
	switch {
	case a.trying:
		p.tried(st, i, mid, due, came, now)
	case a.shift > 0 && !found && due >= cc+overFull+belowFull/2:
		// It was given more than it holds.
		a.higher = false
		if over := mid - cc; over > overFull {
			p.reAnchor(st, i, -over)
			a.next = now.Mono
			return
		}
		a.every = min(2*a.every, mostWait)
		a.next = now.Mono + a.every
		fallthrough
	default:
		z.filled(zp, mid, min(due, cc-loss), came, now)
	}
}

// filled takes in where a filling ended that should have ended at due.
func (z *zoneState) filled(zp *ZonePlan, mid, due, came float64, now garden.Moment) {
	a := &z.anchor
	if mid > a.level+sameLevel || now.Mono-a.seen > levelFor {
		a.fillings = 0 // it can rise higher
	}
	if due-mid < max(missingLeast, missingShare*came) || mid > float64(zp.Capacity)-belowFull {
		return
	}
	if a.fillings > 0 && mid < a.level-sameLevel {
		return // it may not have been full yet
	}
	if a.fillings == 0 {
		a.level, a.lacked = mid, share{}
	}
	a.lacked.add(due-mid, came)
	a.level = max(a.level, mid)
	a.fillings++
	a.seen = now.Mono
	if a.fillings >= levelFillings && now.Mono >= a.till && !a.thirst.trying && a.shift < mostReadsDry && a.level > z.refillAt(zp)+leastTry {
		a.trying, a.stays, a.lacks, a.missed = true, 0, 0, share{}
	}
}

// tried takes in where a filling ended that aimed at the level itself.
func (p *Plan) tried(st *State, i int, mid, due, came float64, now garden.Moment) {
	z, zp := &st.zones[i], &p.zones[i]
	a := &z.anchor
	switch {
	case mid > a.level+nearLevel:
		a.lacks = tryFillings // it was not full there
	case came < leastTry || due > a.level+nearLevel:
		return // tells nothing: too little, or more than was aimed at
	case due-mid <= max(arrivesLeast, missingShare*came):
		a.stays++
	default:
		a.lacks++
	}
	a.missed.add(due-mid, came)
	switch {
	case a.lacks >= tryFillings, a.stays >= tryFillings && a.lacksStill():
		a.trying, a.fillings = false, 0
		a.wait = min(max(2*a.wait, tryAgain), mostWait)
		a.till = now.Mono + a.wait
	case a.stays >= tryFillings:
		a.trying, a.fillings, a.wait = false, 0, 0
		p.reAnchor(st, i, float64(zp.Capacity)-a.level)
		a.thirst = thirst{}
		p.accept(st, i, a.lacked.missing >= tellLacked || a.shift >= tellAnyhow, now)
		a.every = higherEvery
		a.next = now.Mono + a.every
	}
}

// lacksStill tells that the try missed a share as large as the fillings did.
func (a *anchor) lacksStill() bool {
	return a.missed.missing*a.lacked.came > stillLacks*a.lacked.missing*a.missed.came
}

// reAnchor takes a zone's readings to be by more wetter than so far.
func (p *Plan) reAnchor(st *State, i int, by float64) {
	z, zp := &st.zones[i], &p.zones[i]
	a := &z.anchor
	was := a.shift
	a.shift = min(max(was+by, 0), mostReadsDry)
	by = a.shift - was
	a.trying, a.higher, a.fillings = false, false, 0
	z.water.Mean = min(max(z.water.Mean+by, 0), float64(zp.Porosity))
	// Levels on the other scale can't be compared with those to come.
	a.open, z.uneven.open, z.uneven.seen, z.arrival.open = false, false, false, false
	z.span.open, z.drying, z.odd.open = false, false, false
	z.isUnder, z.under = false, 0
	a.thirst.begin()
	if by > 0 {
		// So is what was learnt from water of which a part ran through.
		z.water.Forget(0)
		z.water.Drift(otherLevelSD * otherLevelSD)
	}
	if a.shift == 0 {
		a.told, a.thirst.found = 0, false
	}
}

// accept is for a correction that fillings have proved: what was usual is no more,
// and people are told, at once where it was clear.
func (p *Plan) accept(st *State, i int, clear bool, now garden.Moment) {
	z, zp := &st.zones[i], &p.zones[i]
	a := &z.anchor
	z.arrival = arrival{}
	told, hasTold := z.odd.told, z.odd.hasTold
	z.odd = odd{told: told, hasTold: hasTold}
	if clear && a.shift >= tellFrom && a.shift >= a.told+tellMore {
		a.told = a.shift
		st.note(Event{Kind: ReadsDry, At: now, Zone: zp.ID, Line: zp.Line, A: a.shift})
	}
}

// AnchorMemory is what a restart must not unlearn of a zone whose probes read
// ReadsDry too dry, m³/m³; ByThirst tells that it was found by what the zone drank.
type AnchorMemory struct {
	ReadsDry float64 `json:"reads_dry"`
	ByThirst bool    `json:"by_thirst,omitempty"`
}

// remember is nil where nothing was found. What is only being tried is no finding.
func (a *anchor) remember() *AnchorMemory {
	dry := a.shift
	if a.thirst.trying {
		dry -= thirstStep
	}
	if dry <= 0 {
		return nil
	}
	return &AnchorMemory{ReadsDry: dry, ByThirst: a.thirst.found}
}

// recall brings a memory in that is sane.
func (a *anchor) recall(m *AnchorMemory, now time.Duration) {
	if m == nil || !garden.Finite(m.ReadsDry) || m.ReadsDry <= 0 || m.ReadsDry > mostReadsDry {
		return
	}
	*a = anchor{shift: m.ReadsDry, told: m.ReadsDry, every: higherEvery, next: now + higherEvery, thirst: thirst{found: m.ByThirst}}
}

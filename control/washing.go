package control

import (
	"math"
	"time"

	"fabricpot/control/crop"
	"fabricpot/control/garden"
)

// Where the garden file asks for no share to drain, and the supply's conductivity and
// what the zone's plants bear are known, as much drains as salts ask for: nothing until
// the account says that they cost harvest, then what takes them out. A fed zone is washed
// later, since plants eat what food adds and a wash takes it along: in simulated summers
// less than one percent more of the harvest went to salts and a tenth less nitrogen to the
// drain. To wait until little food is left is no better: until it was a fifth of what is
// dissolved, with the food in the pot known exactly, cost up to two and a half times as
// much and kept little of it. Nor does a fed zone drain a share in advance: a steady tenth
// took most of a fresh mix's charge out of pots whose plants bear it.

// All are our judgement, tried on the simulator's pots.
const (
	// washAtLostPC is what salts would cost of the harvest, if they stayed, when they
	// are washed out, percent: over a whole summer 1 to 2.
	washAtLostPC = 8
	// washFedAtLostPC is the same of salts and food in a zone that is fed at intervals: 2
	// to 3 over a summer. Feed that comes with every watering comes with a wash as well.
	washFedAtLostPC = 12
	// overWater is how far over the supply's own conductivity a wash leaves a zone at
	// the least: water can't make it fresher than itself.
	overWater = 1.1
	// needMost is the most of all water that may drain so where the leaching requirement
	// is less, needMostOf the most where it is more.
	needMost, needMostOf = 0.20, 0.40
	// needHolds is the share of the volume that may be owed at a time.
	needHolds = 0.30
	// sizedFor is the least share to drain that the line of such a zone is sized for.
	sizedFor = 0.10
	// stoodFor is how many days plants have stood in a zone of which nothing is known
	// when salts have gathered in it.
	stoodFor = 14
	// drainsTimes is how many times the zone's mean drainage has of salts: by FAO-29,
	// with water in the soil of twice ECe (there, from memory), eq. 9 and drainage of
	// ECw/LR, it is 2.5/(1+LR), here at an LR of 0.11.
	drainsTimes = 2.25
)

// washing is what a zone's plants bear. The zero value washes nothing.
type washing struct {
	// waterMS is the supply's conductivity, mS/cm; 0 for no washing by need.
	waterMS float64
	// heldL is the water that the drained zone holds, L.
	heldL float64
	// Loads, mS/cm · L: what costs nothing yet, at which a wash is wanted, and to which
	// it brings the zone.
	bears, at, to float64
	// most is the share of all water that may drain.
	most float64
}

// washingOf is what the zone's need is reckoned from; zero where a share is asked for,
// where it is not known what the water brings or the plants bear, and where no watering
// is meant to run through for it: by hand, and in a zone whose depth nobody sees.
func washingOf(g *garden.Garden, z *garden.Zone, zp *ZonePlan) washing {
	bears, ok := crop.SaltLimit(z, g.Crops, 0)
	limit := float64(washAtLostPC)
	if z.Feed.Fed() && !z.Feed.EveryWatering.Known {
		limit = washFedAtLostPC
	}
	at, _ := crop.SaltLimit(z, g.Crops, limit)
	water := g.Supply.ECmS.Or(0)
	if !z.LeachByNeed || zp.HandTended || zp.DepthUnseen || !ok || !(water > 0) {
		return washing{}
	}
	share, _, _ := crop.ZoneLeaching(z, g.Crops, g.Supply.ECmS)
	// Threshold and slope are those of the saturation extract: all pores full.
	full := zp.fullL()
	w := washing{
		waterMS: water, heldL: float64(zp.Capacity) * zp.VolumeL, bears: bears * full, at: at * full,
		most: min(max(needMost, share), needMostOf),
	}
	// A little more than the least that is leached at a time, so that what is wanted is
	// done.
	lump := 1.02 * washShare * zp.VolumeL
	w.at = max(w.at, overWater*water*w.heldL)
	w.to = w.brings() + (w.at-w.brings())*math.Exp(-drainsTimes*lump/w.heldL)
	w.to = max(w.to, overWater*water*w.heldL)
	return w
}

// fullL is the zone's water with all pores full, as in the extract that tolerances are
// told in, L.
func (z *ZonePlan) fullL() float64 { return float64(z.Porosity) * z.VolumeL }

// brings is the load that water alone keeps up in a zone through which it runs.
func (w *washing) brings() float64 { return w.waterMS * w.heldL / drainsTimes }

// salts is a zone's account of what its water brought, as conductivity times water. What
// food adds costs as much as long as it is there; it is told by who feeds, and kept apart:
// what plants eat need not be washed out.
type salts struct {
	load  float64 // mS/cm · L
	food  float64 // what dissolved food adds, mS/cm · L
	needL float64 // what has to drain of it, L
	begun bool
	// dated tells that the plants' days were held against a confirmed clock, from is
	// when the account began, on Mono.
	dated bool
	from  time.Duration
	// ranL is what has drained since nothing was about to, L, through when so much last
	// did in one go that it washed the zone, zero where that is not known.
	ranL    float64
	through time.Time
}

// begin starts the account with a zone whose water is the supply's. Where plants had
// stood for long by then, salts have gathered, as many as cost nothing yet: once their
// day is known and a confirmed clock tells.
func (s *salts) begin(water float64, now garden.Moment, zp *ZonePlan, stoodFrom time.Time) {
	w := &zp.washing
	if w.waterMS == 0 || s.dated {
		return
	}
	if !s.begun {
		s.begun, s.from, s.load = true, now.Mono, max(water, 0)*zp.VolumeL*w.waterMS
		s.reckon(w)
	}
	if !now.Synced || stoodFrom.IsZero() {
		return
	}
	s.dated = true
	if now.Wall.Add(s.from-now.Mono).Sub(stoodFrom) > stoodFor*24*time.Hour {
		s.load = max(s.load, w.bears)
		s.reckon(w)
	}
}

// enter books litres of the supply's water.
func (s *salts) enter(litres float64, zp *ZonePlan) {
	if w := &zp.washing; w.waterMS > 0 && s.begun {
		s.load += litres * w.waterMS
		s.reckon(w)
	}
}

// watch notes when the zone is washed through, by whatever drains: a wash, a flush, rain.
// runsL is about to drain; the last drops take days.
func (s *salts) watch(runsL float64, now garden.Moment, zp *ZonePlan) {
	if s.ranL > 0 && s.ranL >= washShare/2*zp.VolumeL {
		if s.through = (time.Time{}); now.Synced {
			s.through = now.Wall
		}
	}
	if runsL < washShare/50*zp.VolumeL {
		s.ranL = 0
	}
}

// back takes the account back to what it was when litres came of which nothing drained.
func (s *salts) back(was *salts, litres float64, zp *ZonePlan) {
	if w := &zp.washing; w.waterMS > 0 && s.begun {
		s.load, s.ranL, s.through = was.load, 0, was.through
		s.enter(litres, zp)
	}
}

// leave books litres that drained.
func (s *salts) leave(litres float64, zp *ZonePlan) {
	if w := &zp.washing; litres > 0 && w.waterMS > 0 {
		stays := math.Exp(-drainsTimes * litres / w.heldL)
		s.load *= stays
		s.food *= stays
		s.ranL += litres
		s.reckon(w)
	}
}

// reckon finds what has to drain, with the supply's water in its place: of a mean load L
// that falls by drainsTimes of itself over heldL and rises by waterMS with each litre,
// heldL/drainsTimes · ln((L-b)/(to-b)), b being brings. Food leaves more slowly, by the
// ledger of who feeds, so that where much of it is food the wash goes on when the ledger
// has said what is left. Once wanted, a wash is wanted until it is done.
func (s *salts) reckon(w *washing) {
	load := s.load + s.food
	if load <= w.to || load < w.at && s.needL == 0 {
		s.needL = 0
		return
	}
	s.needL = w.heldL / drainsTimes * math.Log((load-w.brings())/(w.to-w.brings()))
}

// fed takes in what food adds.
func (s *salts) fed(load float64, zp *ZonePlan) {
	if w := &zp.washing; w.waterMS > 0 && s.begun && garden.Finite(load) && load >= 0 {
		s.food = min(load, 40*w.heldL)
		s.reckon(w)
	}
}

// recall brings in the load that a memory holds, and whether a wash was under way.
func (s *salts) recall(r *ZoneMemory, zp *ZonePlan) {
	if w := &zp.washing; w.waterMS > 0 && garden.Finite(r.SaltLoad) && r.SaltLoad > 0 {
		*s = salts{load: min(r.SaltLoad, 40*w.heldL), begun: true, dated: !r.SaltUndated, through: r.ThroughAt}
		if garden.Finite(r.SaltFood) && r.SaltFood > 0 {
			s.food = min(r.SaltFood, 40*w.heldL)
		}
		if r.WashOn {
			s.needL = w.heldL // reckoned next; it tells that a wash is wanted
		}
		s.reckon(w)
	}
}

// reload takes the account over from another plan of the zone.
func (s *salts) reload(was, to *ZonePlan) {
	w := &to.washing
	switch {
	case w.waterMS == 0:
		*s = salts{}
		return
	case was.washing == *w:
		return
	case to.VolumeL < was.VolumeL:
		s.load *= to.VolumeL / was.VolumeL // what no longer fits was taken out
	}
	if s.needL = 0; s.begun {
		s.reckon(w)
	}
}

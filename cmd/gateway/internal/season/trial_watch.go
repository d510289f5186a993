package season

import (
	"time"

	"fabricpot/control/crop"
	"fabricpot/control/feed"
	"fabricpot/control/garden"
	"fabricpot/sim/bench"
	"fabricpot/sim/policy"
	"fabricpot/sim/terrace"
)

// trialWatch looks at a terrace from outside, the same way whoever waters.
type trialWatch struct {
	w       *trialWorld
	soil    *terrace.Terrace
	before  []terrace.Totals
	run     []int     // dry days running
	dry     []int     // longest such run
	salt    []float64 // highest so far, mS/cm
	extract []float64 // of that what a saturation extract has
	hardy   []crop.SaltTolerance
	cost    []float64 // of salt, summed over the days, 0..1 each
	days    int
	holds   []float64 // of each column drained, cm
	curve   []float64
	daily   func() // nil: nobody else looks
}

func newTrialWatch(w *trialWorld, soil *terrace.Terrace) *trialWatch {
	n := soil.Zones()
	t := &trialWatch{w: w, soil: soil, before: make([]terrace.Totals, n), run: make([]int, n), dry: make([]int, n), salt: make([]float64, n), cost: make([]float64, n)}
	for z := range n {
		t.holds = append(t.holds, soil.Column(z).Stored())
	}
	w.g.EachZone(func(p *garden.Pot, z *garden.Zone) {
		mix, _ := w.g.Mix(p.Mix)
		least, _, _ := crop.LeastTolerant(z, w.g.Crops) // of none salt costs nothing
		t.hardy = append(t.hardy, least)
		// To be saturated the mix takes more water than it holds drained, which thins
		// its salts.
		t.extract = append(t.extract, t.holds[len(t.extract)]/(p.Shape.HeightCM*mix.Retention.ThetaS))
	})
	return t
}

// dryDay is the share of a day's transpiration whose loss makes it a dry one.
const dryDay = 0.05

// drive lets the season pass in steps of six hours: to lets time pass.
func (t *trialWatch) drive(to func(time.Duration)) {
	for day := range t.w.c.Days {
		for _, hour := range []time.Duration{6, 12, 18, 24} {
			at := t.w.at(day, hour*time.Hour)
			to(at)
			t.soil.Advance(at)
			if t.w.c.Curve && t.w.seed == 1 {
				t.curve = append(t.curve, t.soil.MeanWater(0))
			}
		}
		t.day()
	}
}

func (t *trialWatch) day() {
	for z := range t.before {
		now := t.soil.Totals(z)
		wanted := now.PotentialTranspirationL - t.before[z].PotentialTranspirationL
		lost := wanted - (now.TranspiredL - t.before[z].TranspiredL)
		if wanted > 0 && lost > dryDay*wanted {
			t.run[z]++
			t.dry[z] = max(t.dry[z], t.run[z])
		} else {
			t.run[z] = 0
		}
		t.before[z] = now
		salt := t.saltMSCM(z)
		t.salt[z] = max(t.salt[z], salt)
		t.cost[z] += t.hardy[z].Lost(salt * t.extract[z])
	}
	t.days++
	if t.daily != nil {
		t.daily()
	}
}

// saltMSCM is the conductivity of a zone's water as if the mix held what it did
// in the beginning.
func (t *trialWatch) saltMSCM(z int) float64 {
	col, n := t.soil.Column(z), t.soil.Nitrogen(z)
	litres := t.holds[z] * t.soil.LitresPerCM(z)
	if litres <= 0 {
		return 0
	}
	return col.Mass(saltSolute)/t.holds[z] + feedMSCM*1000*n.PoolG/litres
}

// saltLost is the mean of what salt cost on each day so far, 0..1.
func (t *trialWatch) saltLost(z int) float64 { return t.cost[z] / float64(max(t.days, 1)) }

// figures are the season's, for a policy whose lines the pins switched.
func (t *trialWatch) figures(wires *bench.Bench) TrialRun {
	out := TrialRun{Curve: t.curve}
	for z := range t.before {
		tot, n := t.soil.Totals(z), t.soil.Nitrogen(z)
		out.Zones = append(out.Zones, TrialZone{
			AppliedL: tot.AppliedL, DrainedL: tot.DrainedL, DrainedIrrigationL: tot.DrainedIrrigationL, RainL: tot.RainL,
			StoredChangeL: tot.StoredChangeL, PotentialTranspirationL: tot.PotentialTranspirationL, TranspiredL: tot.TranspiredL,
			HoursStressed: tot.HoursStressed, HoursOverWet: tot.HoursSaturated, DryDays: t.dry[z],
			NAppliedG: n.AppliedG, NWantedG: n.WantedG, NUsedG: n.UsedG, NLeachedG: n.LeachedG, SaltMSCM: t.salt[z],
			SaltLostShare: t.saltLost(z),
		})
	}
	for _, l := range t.w.g.Lines {
		opened := time.Duration(-1)
		for _, e := range wires.Pin(l.ID).History() {
			switch {
			case e.Energised && opened < 0:
				opened = e.At
				out.Openings++
			case !e.Energised && opened >= 0:
				out.ValveMinutes += (e.At - opened).Minutes()
				opened = -1
			}
		}
	}
	t.w.finish(&out)
	return out
}

// finish names the zones and works out what was harvested.
func (w *trialWorld) finish(out *TrialRun) {
	n := 0
	hours := 24 * float64(w.c.Days)
	w.g.EachZone(func(_ *garden.Pot, z *garden.Zone) {
		f := &out.Zones[n]
		n++
		f.Name = string(z.ID)
		lost := 0.0
		if f.PotentialTranspirationL > 0 {
			lost = max(0, 1-f.TranspiredL/f.PotentialTranspirationL)
		}
		got := 0.0
		for _, p := range z.Plants {
			name := p.Crop
			if c, ok := crop.Find(w.g.Crops, p.Crop); ok {
				name = c.Name
			}
			h, _ := feed.HungerOf(name)
			kg := h.YieldKG * float64(p.Count)
			f.HopedKG += kg
			got += kg * policy.YieldResponseOf(name).Relative(lost, f.HoursOverWet/hours)
		}
		if f.HopedKG > 0 {
			f.RelativeYield = got / f.HopedKG
		}
	})
}

// meals are what the gateway's own rules give a grown plant: the same dose, the
// same strength, the same interval.
func (w *trialWorld) meals() ([]policy.Meal, error) {
	var out []policy.Meal
	var err error
	w.g.EachZone(func(p *garden.Pot, z *garden.Zone) {
		var m policy.Meal
		if h := feed.ZoneHunger(z); z.Feed.Fed() && err == nil {
			var portion feed.Portion
			if portion, err = feed.PortionFor(z.Feed, z.VolumeL(p), h, feed.Middle); err == nil {
				m = policy.Meal{Litres: portion.Litres, NMgL: portion.NPPM, EveryDays: z.Feed.IntervalDays.Or(h.Habit.IntervalDays(feed.Middle))}
			}
		}
		out = append(out, m)
	})
	return out, err
}

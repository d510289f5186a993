package season

import (
	"context"
	"math"
	"time"

	"fabricpot/control/garden"
	"fabricpot/sim/policy"
	"fabricpot/sim/terrace"
	"fabricpot/sim/terrace/column"
)

// reference is a season in which nobody was thirsty: what each zone lost day by
// day, what rain reached it, what it can hold, and what its line really gives.
type reference struct {
	lossL, rainL   [][]float64 // zone × day
	potentialL     []float64
	holdL, gainLPH []float64
	// hottest is the first day of the week that takes most, weakest the zone
	// that it empties fastest.
	hottest, weakest int
	facts            policy.Facts
}

const (
	// A hand that sees the true water pours when a zone has used up all but
	// this share of what it holds above the onset of thirst, and pours that
	// share: few large doses, which leave the surface dry and drain nothing.
	refAt, refDose = 0.10, 0.60
	refLook        = 30 * time.Minute
)

func newReference(ctx context.Context, w *trialWorld) (*reference, error) {
	r, err := newLedger(ctx, w, w.terraceOptions())
	if err != nil {
		return nil, err
	}
	// The same season with nothing hidden is what the tables say.
	plain := w.terraceOptions()
	plain.DemandSpread, plain.DaySpread = 0, 0
	book, err := newLedger(ctx, w, plain)
	if err != nil {
		return nil, err
	}
	if err := r.measureLines(w); err != nil {
		return nil, err
	}
	r.facts = policy.NewFacts(w.g, w.start, r.lossL, book.lossL, r.gainLPH)
	r.findWeak()
	return r, nil
}

// newLedger runs the season of a hand that keeps every zone above thirst.
func newLedger(ctx context.Context, w *trialWorld, o terrace.Options) (*reference, error) {
	soil, err := terrace.New(w.g, w.start, o)
	if err != nil {
		return nil, err
	}
	n := soil.Zones()
	r := &reference{potentialL: make([]float64, n), lossL: make([][]float64, n), rainL: make([][]float64, n)}
	var thirst, volume []float64
	zone := 0
	w.g.EachZone(func(p *garden.Pot, z *garden.Zone) {
		m, _ := w.g.Mix(p.Mix) // terrace.New knew it
		s, e := column.NewSoil(m.Retention)
		if e != nil {
			err = e
			return
		}
		v := z.VolumeL(p)
		thirst, volume = append(thirst, s.Theta(column.DefaultRoots().FullCM)), append(volume, v)
		r.holdL = append(r.holdL, math.Max(0, (soil.MeanWater(zone)-thirst[zone])*v))
		zone++
	})
	if err != nil {
		return nil, err
	}
	before := make([]terrace.Totals, n)
	for d := 1; d <= w.c.Days; d++ {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		end := w.at(d, 0)
		for soil.Now() < end {
			soil.Advance(min(end, soil.Now()+refLook))
			for z := range n {
				if left := (soil.MeanWater(z) - thirst[z]) * volume[z]; left < refAt*r.holdL[z] {
					soil.PourByHand(z, refDose*r.holdL[z])
				}
			}
		}
		for z := range n {
			t := soil.Totals(z)
			// Potential, so that a look that came late costs no thirst.
			loss := t.PotentialTranspirationL - before[z].PotentialTranspirationL + t.EvaporatedL - before[z].EvaporatedL
			r.lossL[z] = append(r.lossL[z], loss)
			r.rainL[z] = append(r.rainL[z], t.RainL-before[z].RainL)
			r.potentialL[z] = t.PotentialTranspirationL
			before[z] = t
		}
	}
	return r, nil
}

// measureLines opens each line alone for an hour on a fresh terrace of the same
// seed.
func (r *reference) measureLines(w *trialWorld) error {
	for _, l := range w.g.Lines {
		soil, err := terrace.New(w.g, w.start, w.terraceOptions())
		if err != nil {
			return err
		}
		if r.gainLPH == nil {
			r.gainLPH = make([]float64, soil.Zones())
		}
		soil.SetValve(l.ID, true)
		soil.Advance(time.Hour)
		for z := range r.gainLPH {
			r.gainLPH[z] += soil.Totals(z).AppliedL
		}
	}
	return nil
}

func (r *reference) findWeak() {
	week := func(zone, from int) float64 {
		sum := 0.0
		for _, l := range r.lossL[zone][from:min(from+7, len(r.lossL[zone]))] {
			sum += l
		}
		return sum
	}
	most := -1.0
	for d := 0; d+7 <= len(r.lossL[0]) || d == 0; d++ {
		sum := 0.0
		for z := range r.lossL {
			sum += week(z, d)
		}
		if sum > most {
			most, r.hottest = sum, d
		}
	}
	fastest := -1.0
	for z := range r.lossL {
		if s := week(z, r.hottest) / math.Max(r.holdL[z], 1e-9); s > fastest {
			fastest, r.weakest = s, z
		}
	}
}

// leaching is the share that the garden asks to drain: none where it drains by need.
func (w *trialWorld) leaching(z *garden.Zone) float64 {
	if w.plan.WashesByNeed(z.ID) {
		return 0
	}
	return z.LeachingFraction
}

// ideal is the season of somebody who knows the future, by ledger: see
// policy.LeastWater. Leaching is as the garden asks.
func (w *trialWorld) ideal() TrialRun {
	r := w.ref
	out := TrialRun{Zones: make([]TrialZone, len(r.lossL))}
	for line := -1; line < len(w.g.Lines); line++ {
		var zones []policy.Store
		var numbers []int
		n := 0
		w.g.EachZone(func(_ *garden.Pot, z *garden.Zone) {
			if r.facts.ZoneLine[n] == line {
				zones = append(zones, policy.Store{LossL: r.lossL[n], RainL: r.rainL[n], HoldL: r.holdL[n],
					GainLPH: r.gainLPH[n], LeachingFraction: w.leaching(z)})
				numbers = append(numbers, n)
			}
			n++
		})
		least := policy.LeastWater(zones)
		for i, k := range numbers {
			rain := 0.0
			for _, v := range r.rainL[k] {
				rain += v
			}
			leached := least.WaterL[i] * zones[i].LeachingFraction
			out.Zones[k] = TrialZone{AppliedL: least.WaterL[i], DrainedL: least.DrainedL[i], DrainedIrrigationL: leached,
				RainL: rain, StoredChangeL: least.LeftL[i] - r.holdL[k],
				PotentialTranspirationL: r.potentialL[k], TranspiredL: r.potentialL[k]}
		}
	}
	w.finish(&out)
	return out
}

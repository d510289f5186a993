package season

import (
	"context"
	"time"

	"fabricpot/control/feed"
	"fabricpot/control/garden"
)

// account counts what the terrace's own totals don't know: hours under the
// refill point, which only the plan has.
type account struct {
	nextHour   time.Duration
	nextDay    time.Duration
	least      []float64
	most       []float64
	belowHours []float64
}

func newAccount(b *Bench) account {
	n := len(b.Plan.Zones())
	return account{nextHour: time.Hour, belowHours: make([]float64, n), least: make([]float64, n), most: make([]float64, n)}
}

// hour looks at each zone's true water once an hour.
func (a *account) hour(b *Bench) {
	if b.Clock.Now() < a.nextHour {
		return
	}
	a.nextHour += time.Hour
	if b.Clock.Now() >= a.nextDay {
		// A pot begins with nothing dissolved.
		const settling = 14 * 24 * time.Hour
		first := a.nextDay <= settling
		a.nextDay += 24 * time.Hour
		for i := range a.least {
			c := b.Terrace.Nitrogen(i).MgL
			if first || c < a.least[i] {
				a.least[i] = c
			}
			if first {
				a.most[i] = c
			}
			a.most[i] = max(a.most[i], c)
		}
	}
	for i, z := range b.Plan.Zones() {
		if b.Terrace.MeanWater(i) < float64(z.Refill) {
			a.belowHours[i]++
		}
	}
}

// Season runs that many days and closes every line. eachDay, which may be nil,
// is called as a day ends. A context that ends stops it with its error.
func (b *Bench) Season(ctx context.Context, days int, eachDay func()) (Result, error) {
	began := time.Now()
	if err := b.Begin(); err != nil {
		return Result{}, err
	}
	for d := 1; d <= days; d++ {
		if err := ctx.Err(); err != nil {
			b.End()
			return Result{}, err
		}
		// Civil days, so that one with a daylight saving change is its own length.
		b.RunTo(b.start.AddDate(0, 0, d).Sub(b.start))
		if eachDay != nil {
			eachDay()
		}
	}
	b.End()
	res := b.Result(days)
	if took := time.Since(began); took > 0 {
		res.Speed = b.Clock.Now().Seconds() / took.Seconds()
	}
	return res, nil
}

// Result is what the season came to so far.
func (b *Bench) Result(days int) Result {
	res := Result{Days: days}
	zone := 0
	pulses := b.pulses()
	b.Garden.EachZone(func(_ *garden.Pot, z *garden.Zone) {
		t := b.Terrace.Totals(zone)
		res.Zones = append(res.Zones, ZoneResult{
			Name: string(z.ID), AppliedL: t.AppliedL, DrainedL: t.DrainedL, TranspiredL: t.TranspiredL,
			EvaporatedL: t.EvaporatedL, RainL: t.RainL, StoredChangeL: t.StoredChangeL,
			DrainedIrrigationL: t.DrainedIrrigationL, HandTended: z.Line == "",
			PotentialTranspirationL: t.PotentialTranspirationL,
			HoursBelowRefill:        b.account.belowHours[zone], HoursStressed: t.HoursStressed,
			HoursSaturated: t.HoursSaturated, Pulses: pulses[z.Line],
		})
		r := &res.Zones[len(res.Zones)-1]
		n := b.Terrace.Nitrogen(zone)
		r.NStarterG, r.NAppliedG, r.NUsedG, r.NWantedG, r.NLeachedG, r.NPoolG = n.StarterG-n.ReserveG, n.AppliedG, n.UsedG, n.WantedG, n.LeachedG, n.PoolG
		r.NMgLLeast, r.NMgLMost = b.account.least[zone], b.account.most[zone]
		if book := b.Loop.Feeds(); book != nil {
			if v, ok := book.Zone(z.ID); ok {
				r.Feeds = int(v.FeedID)
				if v.Phase == feed.WithGardener.String() {
					r.Feeds-- // not given yet
				}
			}
		}
		res.MassBalanceErrorL = max(res.MassBalanceErrorL, t.MassErrorL)
		zone++
	})
	return res
}

// pulses counts openings by what the pins saw, not by what anybody ordered.
func (b *Bench) pulses() map[garden.LineID]int {
	n := make(map[garden.LineID]int, len(b.Garden.Lines))
	for _, l := range b.Garden.Lines {
		for _, e := range b.Wires.Pin(l.ID).History() {
			if e.Energised {
				n[l.ID]++
			}
		}
	}
	return n
}

package season

import (
	"context"
	"time"

	"fabricpot/control/garden"
)

// account counts what the terrace's own totals don't know: hours under the
// refill point, which only the plan has.
type account struct {
	nextHour   time.Duration
	belowHours []float64
}

func newAccount(b *Bench) account {
	return account{nextHour: time.Hour, belowHours: make([]float64, len(b.Plan.Zones()))}
}

// hour looks at each zone's true water once an hour.
func (a *account) hour(b *Bench) {
	if b.Clock.Now() < a.nextHour {
		return
	}
	a.nextHour += time.Hour
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

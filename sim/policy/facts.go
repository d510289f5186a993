package policy

import (
	"time"

	"fabricpot/control/garden"
)

// Facts are what the rivals are set by: the garden, and the season as it will
// turn out.
type Facts struct {
	Garden *garden.Garden
	// Start is midnight of the season's first day.
	Start time.Time
	// LossL is what each zone loses on each day when it is never thirsty:
	// transpiration and evaporation, L.
	LossL [][]float64
	// GainLPH is what each zone really gets while its line alone is open, L/h.
	GainLPH []float64
	// TablesL and NominalLPH are what the tables and the emitters' labels say in
	// their place: what one can know beforehand.
	TablesL    [][]float64
	NominalLPH []float64
	// ZoneLine is each zone's line by number, -1 where there is none.
	ZoneLine []int
}

// NewFacts numbers lines and zones; tablesL is what the tables say where lossL is
// the truth.
func NewFacts(g *garden.Garden, start time.Time, lossL, tablesL [][]float64, gainLPH []float64) Facts {
	f := Facts{Garden: g, Start: start, LossL: lossL, TablesL: tablesL, GainLPH: gainLPH}
	g.EachZone(func(_ *garden.Pot, z *garden.Zone) {
		at := -1
		for i := range g.Lines {
			if g.Lines[i].ID == z.Line {
				at = i
			}
		}
		f.ZoneLine = append(f.ZoneLine, at)
		nominal := 0.0
		if at >= 0 {
			nominal = g.Lines[at].FlowLPH() * g.Lines[at].ShareOf(z.ID)
		}
		f.NominalLPH = append(f.NominalLPH, nominal)
	})
	return f
}

// Days of the season.
func (f *Facts) Days() int {
	if len(f.LossL) == 0 {
		return 0
	}
	return len(f.LossL[0])
}

// meanLoss is a zone's mean loss a day over days from..to, L.
func (f *Facts) meanLoss(zone, from, to int) float64 {
	from, to = max(0, from), min(to, f.Days())
	if to <= from {
		return 0
	}
	sum := 0.0
	for _, l := range f.LossL[zone][from:to] {
		sum += l
	}
	return sum / float64(to-from)
}

// minutes is how long each line must run a day so that the neediest of its zones
// gets back a loss of litres(zone) a day.
func (f *Facts) minutes(litres func(zone int) float64) []time.Duration {
	out := make([]time.Duration, len(f.Garden.Lines))
	for z, line := range f.ZoneLine {
		if line < 0 || f.GainLPH[z] <= 0 {
			continue
		}
		on := time.Duration(litres(z) / f.GainLPH[z] * float64(time.Hour))
		// Timers are set in whole minutes; nobody rounds thirst down.
		on = (on + time.Minute - 1).Truncate(time.Minute)
		out[line] = max(out[line], on)
	}
	return out
}

// hottestLoss is a zone's mean loss a day in its thirstiest seven days, L.
func (f *Facts) hottestLoss(zone int) float64 {
	most := f.meanLoss(zone, 0, min(7, f.Days()))
	for d := 0; d+7 <= f.Days(); d++ {
		most = max(most, f.meanLoss(zone, d, d+7))
	}
	return most
}

// hottestWeek sets every day by each zone's hottestLoss.
func (f *Facts) hottestWeek() []time.Duration { return f.minutes(f.hottestLoss) }

// byTables are the facts of somebody without hindsight of the pots, who still
// knows the weather.
func (f Facts) byTables() *Facts {
	f.LossL, f.GainLPH = f.TablesL, f.NominalLPH
	return &f
}

// meanDays sets every day by the season's mean day.
func (f *Facts) meanDays() []time.Duration {
	return f.minutes(func(z int) float64 { return f.meanLoss(z, 0, f.Days()) })
}

// monthOf sets by the mean day of the month that day lies in.
func (f *Facts) monthOf(day int) []time.Duration {
	month := func(d int) time.Month { return f.Start.AddDate(0, 0, d).Month() }
	from, to := day, day+1
	for from > 0 && month(from-1) == month(day) {
		from--
	}
	for to < f.Days() && month(to) == month(day) {
		to++
	}
	return f.minutes(func(z int) float64 { return f.meanLoss(z, from, to) })
}

package terrace

import (
	"math"

	"fabricpot/control/garden"
	"fabricpot/sim/terrace/column"
)

// Nitrogen turns on a pool of mineral nitrogen in each zone's water. It travels
// with the water (no adsorption), comes from the mix's starter charge and from
// feed, and leaves by uptake and with drainage. It does not act back on growth:
// the pool is there to be looked at.
type Nitrogen struct {
	// PerLitreMG is what plants take up with each litre they transpire where
	// there is plenty, mg; 0 means 43: dry matter with 3 % nitrogen at 700 L of
	// water per kg (both from memory, order of magnitude).
	PerLitreMG float64
	// HalfMgL is the concentration at which uptake is half of that, mg/L; 0
	// means 5. Judgement.
	HalfMgL float64
	// ReleaseDays is the time constant of the starter charge's release at
	// 20 °C, which doubles its rate every 10 °C; 0 means 14. Judgement.
	ReleaseDays float64
}

// NitrogenTotals is a zone's account of nitrogen since the start, grams.
type NitrogenTotals struct {
	// StarterG was mixed in, of which ReserveG is not released yet.
	StarterG, ReserveG float64
	// AppliedG came with feed.
	AppliedG float64
	// UsedG was taken up, of WantedG that plants with plenty would have taken.
	UsedG, WantedG float64
	// LeachedG left with drainage and over the rim.
	LeachedG float64
	// PoolG is dissolved now, at MgL on average.
	PoolG, MgL float64
	// MassErrorG is the largest imbalance at any full hour.
	MassErrorG float64
}

// nitrogen is one zone's.
type nitrogen struct {
	Nitrogen
	k                int // the solute's number in the column
	starter, reserve float64
	used, wanted     float64
	inflow           float64 // mg/L of the water now
	massError        float64
}

// feedSolute is what the column carries; plants take it by their own rule.
func feedSolute() column.Solute { return column.Solute{Name: "nitrogen"} }

func newNitrogen(o *Nitrogen, k int, starterG float64) *nitrogen {
	n := &nitrogen{Nitrogen: *o, k: k, starter: starterG, reserve: starterG}
	for _, d := range []struct {
		v         *float64
		otherwise float64
	}{{&n.PerLitreMG, 43}, {&n.HalfMgL, 5}, {&n.ReleaseDays, 14}} {
		if *d.v == 0 {
			*d.v = d.otherwise
		}
	}
	return n
}

// pour sets the strength of what is poured for a span of hours: lineMG mg an
// hour through lines of lineLPH, and the can.
func (z *zone) pour(hours, lineLPH, lineMG float64) {
	n := z.nitro
	given := 0.0
	if z.handL > 0 {
		given = math.Min(z.handL, z.handLPH*hours)
	}
	mgL := 0.0
	if litres := lineLPH*hours + given; litres > 0 {
		mgL = (lineMG*hours + given*z.handMgL) / litres
	}
	if mgL != n.inflow {
		n.inflow = mgL
		z.col.SetInflow(n.k, 0, mgL)
	}
}

// feedHour releases and takes up what the last hour brought, in which the
// plants transpired so many litres.
func (z *zone) feedHour(transpiredL float64) {
	n, gram := z.nitro, z.litresPerCM/1000
	z.col.SetInflow(n.k, 0, n.inflow) // carries it along with the water first
	rate := math.Exp2((z.warm.at(0.5*z.heightCM) - 20) / 10)
	out := n.reserve * -math.Expm1(-rate/(24*n.ReleaseDays))
	n.reserve -= out
	z.col.Add(n.k, out/gram)
	want := n.PerLitreMG * transpiredL / 1000
	n.wanted += want
	if c := z.nitrogenMgL(); c > 0 {
		n.used -= z.col.Add(n.k, -want*c/(c+n.HalfMgL)/gram) * gram
	}
	n.massError = math.Max(n.massError, math.Abs(z.nitrogenImbalance()))
}

// nitrogenMgL is the mean concentration in the zone's water.
func (z *zone) nitrogenMgL() float64 {
	stored := z.col.Stored()
	if stored <= 0 {
		return 0
	}
	return z.col.Mass(z.nitro.k) / stored
}

func (z *zone) nitrogenImbalance() float64 {
	n, c, gram := z.nitro, z.col.Carried(z.nitro.k), z.litresPerCM/1000
	// Right only just after a move: until then what drained is still counted in
	// the mass as well.
	return n.starter - n.reserve + c.In*gram - n.used - (c.Drained+c.RunOff)*gram - z.col.Mass(n.k)*gram
}

// Nitrogen is a zone's account up to now; zero where the pool is not turned on.
func (t *Terrace) Nitrogen(zone int) NitrogenTotals {
	z := t.zones[zone]
	if z.nitro == nil {
		return NitrogenTotals{}
	}
	n, gram := z.nitro, z.litresPerCM/1000
	z.col.SetInflow(n.k, 0, n.inflow) // carries it along with the water first
	c := z.col.Carried(n.k)
	return NitrogenTotals{
		StarterG: n.starter, ReserveG: n.reserve, AppliedG: c.In * gram, UsedG: n.used, WantedG: n.wanted,
		LeachedG: (c.Drained + c.RunOff) * gram, PoolG: z.col.Mass(n.k) * gram, MgL: z.nitrogenMgL(),
		MassErrorG: math.Max(n.massError, math.Abs(z.nitrogenImbalance())),
	}
}

// SoluteLoad is how much of the k-th of Options.Solutes a zone's water holds now:
// litres times the unit of its concentration.
func (t *Terrace) SoluteLoad(zone, k int) float64 {
	z := t.zones[zone]
	// The rain tag is the first.
	return z.col.Mass(k+1) * z.litresPerCM
}

// SetFeed has a line's water carry that much nitrogen from now on, mg/L: an
// injector that is engaged, or with 0 is bypassed.
func (t *Terrace) SetFeed(id garden.LineID, mgL float64) {
	if i, ok := t.pipes.byID[id]; ok && mgL >= 0 && garden.Finite(mgL) {
		t.pipes.lines[i].feedMgL = mgL
	}
}

// PourFeedByHand is PourByHand with a solution of that much nitrogen, mg/L.
func (t *Terrace) PourFeedByHand(zone int, litres, mgL float64) {
	if !(litres > 0) || !garden.Finite(litres) || !(mgL >= 0) || !garden.Finite(mgL) {
		return
	}
	z := t.zones[zone]
	z.handMgL = (z.handL*z.handMgL + litres*mgL) / (z.handL + litres)
	z.handL += litres
	z.handLPH = pourLPH
}

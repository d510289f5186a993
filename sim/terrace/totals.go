package terrace

import "math"

// Totals is a zone's account since the start.
type Totals struct {
	// AppliedL was poured by lines and by hand, HandL the part by hand.
	AppliedL, HandL float64
	// RainL reached the mix.
	RainL float64
	// DrainedL left through the floor or over the rim (RunOffL of it);
	// DrainedIrrigationL is the part that did not fall as rain.
	DrainedL, DrainedIrrigationL, RunOffL float64
	// TranspiredL and EvaporatedL left into the air; PotentialTranspirationL is
	// what the plants would have used with enough water.
	TranspiredL, EvaporatedL, PotentialTranspirationL float64
	// StoredChangeL is what the zone holds more than at the start.
	StoredChangeL float64
	// Hours gone by; HoursStressed those in which uptake was under 95 % of its
	// potential; HoursSaturated those in spells of more than six hours running
	// with a mean air space under 10 % of the volume, or under the mix's own at
	// container capacity if that is smaller.
	Hours, HoursStressed, HoursSaturated float64
	// MassErrorL is the largest absolute imbalance found at any full hour.
	MassErrorL float64
}

// airSlack is how far under its own air space at container capacity a mix has to
// be to count as saturated: a draining pot nears capacity from above for hours
// without ever reaching it.
const airSlack = 0.005

// account is what a zone writes down as it goes.
type account struct {
	startL                     float64
	appliedL, handL, rainL     float64
	potentialL                 float64
	hourPotential, hourTaken   float64
	hours, stressed, saturated float64
	wetRun, massError          float64
}

// leastAir is the mean air space under which a mix counts as saturated.
func leastAir(atCapacity float64) float64 { return math.Min(0.10, atCapacity-airSlack) }

// wetness counts hours of saturation; a spell counts whole once it is over six
// hours long.
func (a *account) wetness(hours float64, airy bool) {
	if airy {
		a.wetRun = 0
		return
	}
	before := a.wetRun
	a.wetRun += hours
	const spell = 6 + 1e-9
	switch {
	case before > spell:
		a.saturated += hours
	case a.wetRun > spell:
		a.saturated += a.wetRun
	}
}

// closeHour judges the hour that ends and checks that no water was made or lost.
func (z *zone) closeHour() {
	a := &z.acc
	a.hours++
	// Less than a thimbleful an hour is no demand to fall short of.
	if a.hourPotential > 1e-6 && a.hourTaken < 0.95*a.hourPotential {
		a.stressed++
	}
	if z.nitro != nil {
		z.feedHour(a.hourTaken)
	}
	a.hourPotential, a.hourTaken = 0, 0
	a.massError = math.Max(a.massError, math.Abs(z.imbalance()))
}

// imbalance is litres in, less litres out and litres held more.
func (z *zone) imbalance() float64 {
	c := z.col.Totals()
	out := (c.Drained + c.RunOff + c.Uptake + c.Evaporate + z.col.Stored()) * z.litresPerCM
	return z.acc.startL + z.acc.appliedL + z.acc.rainL - out
}

// Totals is zone's account up to now. Asking changes nothing.
func (t *Terrace) Totals(zone int) Totals {
	z := t.zones[zone]
	c, a, f := z.col.Totals(), &z.acc, z.litresPerCM
	rain := z.col.Carried(0)
	drained := (c.Drained + c.RunOff) * f
	return Totals{
		AppliedL: a.appliedL, HandL: a.handL, RainL: a.rainL,
		DrainedL: drained, RunOffL: c.RunOff * f,
		DrainedIrrigationL: math.Max(0, drained-(rain.Drained+rain.RunOff)*f),
		TranspiredL:        c.Uptake * f, EvaporatedL: c.Evaporate * f,
		PotentialTranspirationL: a.potentialL,
		StoredChangeL:           z.col.Stored()*f - a.startL,
		Hours:                   t.now.Hours(), HoursStressed: a.stressed, HoursSaturated: a.saturated,
		MassErrorL: math.Max(a.massError, math.Abs(z.imbalance())),
	}
}

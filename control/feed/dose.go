package feed

import (
	"fmt"

	"fabricpot/control/garden"
)

// The dose by container. Growers give about 4 L of ready solution to a 75 L pot
// and 8 L to a 380 L one (common practice, no source). Between, below and above
// those we use the saturating curve
//
//	dose = doseMost · V / (V + doseHalf)
//
// whose two parameters the two facts fix: it rises without a step, it goes to
// zero with the container (at most 0.0856 L per litre of mix, so a small pot is
// never drowned, where a power law through the same facts would give a 5 L pot
// a quarter of its volume) and it flattens out for very large ones.
const (
	smallPotL, smallDoseL = 75.0, 4.0
	largePotL, largeDoseL = 380.0, 8.0

	doseHalf = (largeDoseL - smallDoseL) * smallPotL * largePotL / (smallDoseL*largePotL - largeDoseL*smallPotL)
	doseMost = smallDoseL * (smallPotL + doseHalf) / smallPotL

	// SecondaryDoseL is what a lesser plant beside a main one gets at most, L
	// (common practice, no source).
	SecondaryDoseL = 2.0
)

// ContainerDose is the litres of ready solution that a grown plant's container
// of zoneL litres of mix gets in one feed.
func ContainerDose(zoneL float64) (float64, error) {
	if !garden.Finite(zoneL) || zoneL <= 0 {
		return 0, fmt.Errorf("feed: zone of %v L, expected more than 0", zoneL)
	}
	return doseMost * zoneL / (zoneL + doseHalf), nil
}

// Portion is one feed of a zone: how much and how strong.
type Portion struct {
	// Litres of ready solution.
	Litres float64 `json:"litres"`
	// NPPM is its strength, mg N per litre.
	NPPM float64 `json:"n_ppm"`
	// Weak is set where the strength is the weak default.
	Weak bool `json:"weak"`
}

// weakShare is the weak default's part of full strength. Containers respond
// well to half-strength liquid feed (UF/IFAS, as summarised by a broadcaster).
const weakShare = 0.5

// PortionFor returns the portion that plan gives a zone of zoneL litres at a
// stage. What the gardener wrote wins, within the limits; else the dose comes
// from the container, the crop and the stage, and the strength is half of the
// crop's full one unless the plan asks for full.
func PortionFor(plan garden.FeedPlan, zoneL float64, h Hunger, s Stage) (Portion, error) {
	base, err := ContainerDose(zoneL)
	if err != nil {
		return Portion{}, err
	}
	if plan.Secondary {
		base = min(base, SecondaryDoseL)
	}
	p := Portion{Litres: base * h.Habit.doseShare(s)}
	if plan.DoseL.Known {
		p.Litres = plan.DoseL.Value
	}
	switch {
	case plan.EveryWatering.Known:
		if err := CheckEveryWatering(plan.EveryWatering.Value); err != nil {
			return Portion{}, err
		}
		p.NPPM = plan.EveryWatering.Value
	case plan.NPPM.Known:
		p.NPPM = plan.NPPM.Value
	case plan.FullStrength:
		p.NPPM = h.Habit.NPPM(s)
	default:
		p.NPPM, p.Weak = weakShare*h.Habit.NPPM(s), true
	}
	if err := CheckDose(p.Litres, zoneL); err != nil {
		return Portion{}, err
	}
	if err := CheckStrength(p.NPPM); err != nil {
		return Portion{}, err
	}
	if p.NPPM == 0 {
		return Portion{}, fmt.Errorf("feed: strength 0 ppm N, expected more than 0 up to %d: leave the feed out of the plan instead", MaxNPPM)
	}
	return p, nil
}

// CapL is the most ready solution a zone may get in any CapWindow, L.
func CapL(plan garden.FeedPlan, zoneL float64) (float64, error) {
	d, err := ContainerDose(zoneL)
	if err != nil {
		return 0, err
	}
	return CapDoses * max(d, plan.DoseL.Or(0)), nil
}

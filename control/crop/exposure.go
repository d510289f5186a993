package crop

import "fabricpot/control/garden"

// Microclimate is the factor on a field's evapotranspiration for where a pot
// stands, with the range it may really have.
type Microclimate struct {
	Factor, Low, High float64
	// Caution is what a person should know about it.
	Caution string
}

// MicroclimateOf gives the factor of an exposure. Ranges: landscape
// microclimate factors of 0.5-0.9 (sheltered), 1.0 and 1.1-1.4 (paved, windy)
// after Costello, Matheny and Clark 2000, A Guide to Estimating Irrigation
// Water Needs of Landscape Plantings (from memory); a lone stand among hot dry
// surfaces may go to a Kc of 1.8-2.5, FAO-56 chapters 9 and 10 (from memory),
// which is about twice a field's. Inside the range the factor is judgement. An
// unknown exposure counts as open.
func MicroclimateOf(e garden.Exposure) Microclimate {
	switch e {
	case garden.Sheltered:
		return Microclimate{0.8, 0.5, 0.9, "shade moves with the season: look again in high summer"}
	case garden.WindyPaved:
		return Microclimate{1.4, 1.1, 2.0, "a lone pot among hot paving can lose twice what a field loses; trust the probe and the plant over this factor"}
	}
	return Microclimate{1.0, 0.9, 1.1, "as a weather station sees it; a pot by a wall in the sun is not in the open"}
}

// ExposureFactor is MicroclimateOf's factor, > 0.
func ExposureFactor(e garden.Exposure) float64 { return MicroclimateOf(e).Factor }

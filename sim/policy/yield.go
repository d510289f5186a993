package policy

import "fabricpot/control/crop"

// YieldResponse is a crop's Ky of the whole season in FAO-33's
//
//	1 − Ya/Ym = Ky·(1 − ETa/ETm)
//
// (Doorenbos and Kassam 1979, FAO Irrigation and Drainage Paper 33), and where it
// is from.
type YieldResponse struct {
	Ky     float64
	Source string
}

// YieldResponseOf gives a crop's response by its name in the crop library. All
// figures are from memory; a crop FAO-33 does not have takes a relative's or 1.0.
func YieldResponseOf(name string) YieldResponse {
	if c, ok := crop.Lookup(name); ok {
		name = c.Name
	}
	fao := func(ky float64) YieldResponse { return YieldResponse{ky, "FAO-33, from memory"} }
	as := func(ky float64, who string) YieldResponse {
		return YieldResponse{ky, "not in FAO-33: as its " + who + ", from memory"}
	}
	switch name {
	case "tomato":
		return fao(1.05)
	case "sweet pepper":
		return fao(1.10)
	case "bush bean":
		return fao(1.15)
	case "potato":
		return fao(1.10)
	case "onion":
		return fao(1.10)
	case "chilli":
		return as(1.10, "pepper")
	case "aubergine":
		return as(1.05, "tomato")
	case "broccoli":
		return as(0.95, "cabbage")
	}
	return YieldResponse{1.0, "not in FAO-33: 1.0, judgement"}
}

// Relative is the relative yield, 0..1, for the share of the season's
// transpiration that was lost and the share of its hours in which the mix was
// over-wet. Growth stands still in an over-wet hour: an aeration factor that is
// judgement, so that drowning is not free.
func (y YieldResponse) Relative(lost, overWet float64) float64 {
	clamp := func(v float64) float64 { return min(max(v, 0), 1) }
	return clamp(1-y.Ky*clamp(lost)) * clamp(1-overWet)
}

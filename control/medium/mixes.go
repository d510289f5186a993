package medium

import "fabricpot/control/garden"

// Illustrative returns the mixes a garden file may name without parameters of
// its own. None was measured: the sets are constructed so that what they hold
// falls in the bands handbooks give for such mixes, and every one is marked
// Illustrative. They are a beginning, to be replaced by the gardener's own
// two-point or gravimetric measurements.
func Illustrative() []garden.Mix {
	vg := func(id garden.MixID, name string, thetaR, thetaS, alpha, n, ks float64) garden.Mix {
		return garden.Mix{
			ID: id, Name: name, Illustrative: true,
			Retention: garden.Retention{
				Model: garden.VanGenuchten, ThetaR: thetaR, ThetaS: thetaS, AlphaPerCM: alpha, N: n, KsCMH: ks,
			},
		}
	}
	return []garden.Mix{
		vg("peat-perlite", "peat and perlite", 0.10, 0.88, 0.15, 1.60, 30),
		vg("fine-peat", "fine peat", 0.10, 0.93, 0.06, 1.60, 12),
		vg("coir-perlite", "coir and perlite", 0.08, 0.90, 0.12, 1.60, 35),
		vg("bark", "aged bark", 0.15, 0.78, 0.25, 1.40, 60),
		vg("peat-compost", "peat, compost and bark", 0.14, 0.82, 0.09, 1.45, 20),
	}
}

// IllustrativeMix returns the illustrative mix with that id.
func IllustrativeMix(id garden.MixID) (garden.Mix, bool) {
	for _, m := range Illustrative() {
		if m.ID == id {
			return m, true
		}
	}
	return garden.Mix{}, false
}

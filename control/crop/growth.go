package crop

// Stages of a crop, FAO-56's four.
const (
	Initial     = "initial"
	Development = "development"
	Mid         = "mid-season"
	Late        = "late"
)

// Growth is where a crop stands at one age.
type Growth struct {
	// Stage is Initial, Development, Mid or Late.
	Stage string
	// Kc is the crop coefficient now.
	Kc float64
	// CanopyM2 is one plant's canopy now, m².
	CanopyM2 float64
	// RootFraction is the share of the zone that roots reach, 0..1.
	RootFraction float64
	// Over tells that the crop's stages have all run out.
	Over bool
}

const (
	// Canopy shares of a grown plant's: a transplant, and the end of the
	// initial stage, which FAO-56 puts at about 10 % ground cover.
	canopyPlanted, canopyInitial = 0.04, 0.10
	// The root ball of a transplant, as a share of the zone. Judgement.
	rootsPlanted = 0.15
)

// At is the growth at an age in stage days after planting. Kc is FAO-56's
// curve: flat at KcIni, a straight rise through development, flat at KcMid, a
// straight fall to KcEnd (eq. 66), where it stays after the last stage. The
// canopy reaches 10 % of a grown plant's at the end of the initial stage and
// all of it, with roots through the whole zone, when mid-season begins
// (FAO-56 chapters 6 and 8; the curves between are judgement). An age before
// planting, or NaN, counts as the day of planting.
func (c Crop) At(age float64) Growth {
	ini, dev, mid, late := float64(c.StageDays[0]), float64(c.StageDays[1]), float64(c.StageDays[2]), float64(c.StageDays[3])
	if !(age > 0) {
		age = 0
	}
	roots := between(rootsPlanted, 1, age/max(ini+dev, 1))
	switch {
	case age < ini:
		return Growth{Stage: Initial, Kc: c.KcIni, RootFraction: roots,
			CanopyM2: c.CanopyM2 * between(canopyPlanted, canopyInitial, age/ini)}
	case age < ini+dev:
		x := (age - ini) / dev
		return Growth{Stage: Development, Kc: between(c.KcIni, c.KcMid, x), RootFraction: roots,
			CanopyM2: c.CanopyM2 * between(canopyInitial, 1, x)}
	case age < ini+dev+mid:
		return c.Grown()
	}
	g := c.Grown()
	g.Stage = Late
	g.Over = age >= ini+dev+mid+late
	g.Kc = between(c.KcMid, c.KcEnd, (age-ini-dev-mid)/max(late, 1))
	return g
}

// Grown is the growth in mid-season: what a plant without a planting date has.
func (c Crop) Grown() Growth {
	return Growth{Stage: Mid, Kc: c.KcMid, CanopyM2: c.CanopyM2, RootFraction: 1}
}

// between goes from a to b as x goes from 0 to 1, and no further.
func between(a, b, x float64) float64 { return a + (b-a)*min(max(x, 0), 1) }

package feed

import "fabricpot/control/garden"

// Stage is where a plant is in its season, in FAO-56's four parts.
type Stage uint8

const (
	// Initial: from planting until it has taken hold.
	Initial Stage = iota
	// Development: leaves and roots grow, no fruit yet.
	Development
	// Middle: flowers and fruit form, or the full leaf crop stands.
	Middle
	// Late: ripening and decline.
	Late
)

func (s Stage) String() string {
	switch s {
	case Initial:
		return "settling in"
	case Development:
		return "growing"
	case Middle:
		return "fruiting"
	}
	return "late"
}

// StageAt returns the stage at days after planting for a crop whose stages last
// that many days, and how far through it the plant is, 0..1. After the last
// stage it is Late and 1. Days before planting count as 0.
func StageAt(days float64, lengths [4]int) (Stage, float64) {
	if !(days > 0) { // also NaN
		return Initial, 0
	}
	for s := Initial; s <= Late; s++ {
		n := float64(max(0, lengths[s]))
		if days < n {
			return s, days / n
		}
		days -= n
	}
	return Late, 1
}

// PlantCount is how many plants stand in the zone.
func PlantCount(z *garden.Zone) int {
	var n int
	for _, p := range z.Plants {
		n += max(0, p.Count)
	}
	return n
}

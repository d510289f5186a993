package crop

import (
	"fmt"

	"fabricpot/control/garden"
)

// SaltTolerance is how a crop's harvest falls with the salts in its root zone:
//
//	Yr = 100 − SlopePC·(ECe − ThresholdMS)
//
// percent, with ECe the conductivity of the saturation extract, mS/cm (equal to
// dS/m) (Maas and Hoffman 1977, as FAO-29 and FAO-61 Annex 1 eq. 1 give it).
type SaltTolerance struct {
	// ThresholdMS is the ECe from which on harvest falls, mS/cm.
	ThresholdMS float64
	// SlopePC is by how much it falls for each mS/cm more, percent.
	SlopePC float64
	Source  string
}

// SaltToleranceOf gives a crop's by its name in the library; false where nobody has
// measured it, as for a crop of the garden file.
func SaltToleranceOf(name string) (SaltTolerance, bool) {
	c, ok := Lookup(name)
	if !ok {
		return SaltTolerance{}, false
	}
	maas := func(threshold, slope float64) (SaltTolerance, bool) {
		return SaltTolerance{threshold, slope, "Maas (1990), list of the U.S. Salinity Laboratory (read)"}, true
	}
	switch c.Name {
	case "tomato":
		return maas(2.5, 9.9)
	case "aubergine":
		return maas(1.1, 6.9)
	case "sweet pepper", "chilli": // both Capsicum annuum
		return maas(1.5, 14)
	case "cucumber":
		return maas(2.5, 13)
	case "bush bean":
		return maas(1.0, 19)
	case "broccoli":
		return maas(2.8, 9.2)
	case "onion":
		return maas(1.2, 16)
	case "lettuce":
		return maas(1.3, 13)
	case "strawberry":
		return maas(1.0, 33)
	case "potato":
		return maas(1.7, 12)
	case "chard":
		return SaltTolerance{4.0, 9.0, "Maas (1990): red beet, the same species (judgement)"}, true
	}
	return SaltTolerance{}, false
}

// Lost is the share of the harvest, 0..1, that an ECe of that many mS/cm costs.
func (s SaltTolerance) Lost(eceMS float64) float64 {
	return min(max(s.SlopePC*(eceMS-s.ThresholdMS)/100, 0), 1)
}

// SaltLimit is the lowest ECe, mS/cm, at which one of the zone's plants loses that many
// percent of its harvest; false where it is known of none. own are the garden file's
// crops, of which nobody has measured it.
func SaltLimit(z *garden.Zone, own []garden.OwnCrop, lostPC float64) (eceMS float64, ok bool) {
	eachTolerance(z, own, func(t SaltTolerance, _ string) {
		if limit := t.ThresholdMS + lostPC/t.SlopePC; !ok || limit < eceMS {
			eceMS, ok = limit, true
		}
	})
	return eceMS, ok
}

// SaltCost is what an ECe of that many mS/cm costs those of the zone's plants that suffer
// most: the share of their harvest, 0..1, and which they are; none where nobody's is
// known. own are the garden file's crops, of which nobody has measured it.
func SaltCost(z *garden.Zone, own []garden.OwnCrop, eceMS float64) (lost float64, name string) {
	eachTolerance(z, own, func(t SaltTolerance, crop string) {
		if l := t.Lost(eceMS); name == "" || l > lost {
			lost, name = l, crop
		}
	})
	return lost, name
}

// LeachingRequirement is the share of watering, 0..1, that has to drain so that water of
// waterMS keeps a root zone's mean at an ECe of eceMS, both mS/cm:
//
//	LR = ECw / (5·ECe − ECw)
//
// (Rhoades 1974, FAO-29 eq. 9). It fails where waterMS is under 0, eceMS not over
// 0 or either not finite, and where no share does since the water itself is too salty.
func LeachingRequirement(waterMS, eceMS float64) (float64, error) {
	if !garden.Finite(waterMS) || waterMS < 0 || !garden.Finite(eceMS) || eceMS <= 0 {
		return 0, fmt.Errorf("crop: leaching: water of %v mS/cm for a root zone of %v, expected 0 or more for over 0", waterMS, eceMS)
	}
	lr := waterMS / (5*eceMS - waterMS)
	if !(lr >= 0 && lr < 1) {
		return 0, fmt.Errorf("crop: leaching: water of %.2f mS/cm can't keep a root zone at %.2f: mix in rain water", waterMS, eceMS)
	}
	return lr, nil
}

// LeastTolerant is the tolerance of the zone's plants with the lowest threshold, of
// those with the steepest loss, and which plants they are; false where it is known of
// none. own are the garden file's crops, of which nobody has measured it.
func LeastTolerant(z *garden.Zone, own []garden.OwnCrop) (least SaltTolerance, name string, ok bool) {
	eachTolerance(z, own, func(t SaltTolerance, crop string) {
		if !ok || t.ThresholdMS < least.ThresholdMS || t.ThresholdMS == least.ThresholdMS && t.SlopePC > least.SlopePC {
			least, name, ok = t, crop, true
		}
	})
	return least, name, ok
}

// eachTolerance calls each with the tolerances that are known of a zone's plants.
func eachTolerance(z *garden.Zone, own []garden.OwnCrop, each func(t SaltTolerance, crop string)) {
	for _, p := range z.Plants {
		c, found := Find(own, p.Crop)
		if t, known := SaltToleranceOf(c.Name); found && !c.Own && known {
			each(t, c.Name)
		}
	}
}

// ZoneLeaching is the leaching requirement of a zone's least tolerant plants, and which
// they are; false where it is known of none or the water brings no salt. Water that no
// share helps with counts as needing all of it.
func ZoneLeaching(z *garden.Zone, own []garden.OwnCrop, water garden.Measured) (share float64, name string, ok bool) {
	t, name, ok := LeastTolerant(z, own)
	if !ok || !(water.Or(0) > 0) {
		return 0, "", false
	}
	share, err := LeachingRequirement(water.Value, t.ThresholdMS)
	if err != nil {
		share = 1
	}
	return share, name, true
}

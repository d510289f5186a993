package feed

import (
	"fmt"
	"math"
	"time"

	"fabricpot/control/garden"
)

// Salts accounts for dissolved salts in one zone, as conductivity times water:
// mS/cm · L. Salts are conserved while water comes and goes, so that the load
// over the water held is the conductivity of the root zone's solution.
type Salts struct {
	// Load is what the zone's water holds now, mS/cm · L.
	Load float64
	// Entered, Left and Taken are sums since the start: in with water and feed,
	// out with leachate, taken up with nutrients.
	Entered, Left, Taken float64
	// Corrected is the sum of corrections by readings, of either sign.
	Corrected float64
	// Guess tells that it began with plants that had stood there before, and that
	// neither a reading nor a flush has said since what they had left behind.
	Guess bool `json:",omitempty"`
}

// Enter adds litres of water or feed of that conductivity, mS/cm.
func (s *Salts) Enter(litres, ecMS float64) error {
	if !garden.Finite(litres) || litres < 0 {
		return fmt.Errorf("feed: salts: %v L entered, expected 0 or more", litres)
	}
	if !garden.Finite(ecMS) || ecMS < 0 || ecMS > 20 {
		return fmt.Errorf("feed: salts: EC %v mS/cm, expected 0 to 20: is the meter set to µS/cm", ecMS)
	}
	s.Load += litres * ecMS
	s.Entered += litres * ecMS
	return nil
}

// UsualSlope is the rise per 100 ppm N that is taken where a label has none,
// mS/cm: about that of 20-10-20 (from memory: 0.60 to 0.65).
const UsualSlope = 0.65

// Dissolve enters what nGrams of nitrogen bring into solution with their
// companions, by the rise per 100 ppm N: a feed's salts, or a starter charge's.
func (s *Salts) Dissolve(nGrams, per100PPM float64) error {
	if !garden.Finite(nGrams) || nGrams < 0 || !garden.Finite(per100PPM) || per100PPM < 0 {
		return fmt.Errorf("feed: salts: %v g N dissolved at %v mS/cm per 100 ppm, expected 0 or more", nGrams, per100PPM)
	}
	came := FoodSalts(nGrams, per100PPM)
	s.Load += came
	s.Entered += came
	return nil
}

// FoodSalts is what nGrams of nitrogen add to a zone's salts with their companions, by the
// rise per 100 ppm N, mS/cm · L.
func FoodSalts(nGrams, per100PPM float64) float64 { return nGrams * 1000 / 100 * per100PPM }

// Uptake takes out what plants took up with nGrams of nitrogen, by the feed's
// own rise per 100 ppm N: what feed adds to the conductivity, uptake removes.
func (s *Salts) Uptake(nGrams, per100PPM float64) error {
	if !garden.Finite(nGrams) || nGrams < 0 || !garden.Finite(per100PPM) || per100PPM < 0 {
		return fmt.Errorf("feed: salts: uptake of %v g N at %v mS/cm per 100 ppm, expected 0 or more", nGrams, per100PPM)
	}
	took := min(s.Load, FoodSalts(nGrams, per100PPM))
	s.Load -= took
	s.Taken += took
	return nil
}

// Leach takes out what drainedL litres of leachate carry away from a zone that
// holds heldL litres, well mixed. It returns the leachate's mean conductivity,
// mS/cm, 0 where nothing drained.
func (s *Salts) Leach(drainedL, heldL float64) (float64, error) {
	f, err := flushedShare(drainedL, heldL)
	if err != nil {
		return 0, err
	}
	lost := s.Load * f
	s.Load -= lost
	s.Left += lost
	if drainedL == 0 {
		return 0, nil
	}
	return lost / drainedL, nil
}

// EC is the conductivity of the zone's solution while it holds heldL litres,
// mS/cm. It rises as a pot dries.
func (s Salts) EC(heldL float64) (float64, error) {
	if !garden.Finite(heldL) || heldL <= 0 {
		return 0, fmt.Errorf("feed: salts: zone holds %v L of water, expected more than 0", heldL)
	}
	return s.Load / heldL, nil
}

// Read enters a pour-through or drainage reading, mS/cm, taken while the zone
// held heldL litres (pour-through: container capacity). What was measured wins
// over the account.
func (s *Salts) Read(ecMS, heldL float64) error {
	if err := CheckDrainage(ecMS); err != nil {
		return err
	}
	if !garden.Finite(heldL) || heldL <= 0 {
		return fmt.Errorf("feed: salts: zone holds %v L of water, expected more than 0", heldL)
	}
	s.Corrected += ecMS*heldL - s.Load
	s.Load = ecMS * heldL
	s.Guess = false
	return nil
}

// MostDrainageMS is the highest conductivity of drainage that is believed, mS/cm
// (our judgement; sea water has about 50, from memory).
const MostDrainageMS = 20

// CheckDrainage refuses a reading of drainage that no pot gives, mS/cm.
func CheckDrainage(ecMS float64) error {
	if !garden.Finite(ecMS) || ecMS < 0 || ecMS > MostDrainageMS {
		return fmt.Errorf("drainage of %v mS/cm, expected 0 to %d: a meter set to µS/cm shows a thousand times as much", ecMS, MostDrainageMS)
	}
	return nil
}

// Imbalance is entered + corrected - left - taken - load: rounding only.
func (s Salts) Imbalance() float64 { return s.Entered + s.Corrected - s.Left - s.Taken - s.Load }

// Limits on drainage conductivity, from memory.
const (
	// DrainOverFeed is how far drainage may lie over the feed, mS/cm.
	DrainOverFeed = 1.5
	// DrainMost is the most drainage may have, mS/cm.
	DrainMost = 4.6
	// FlushEvery is how often a fed pot is flushed on plan. Our judgement.
	FlushEvery = 28 * 24 * time.Hour
)

// MustLeach reports whether drainage of that conductivity asks for plain water
// instead of feed.
func MustLeach(drainMS, feedMS garden.Measured) bool {
	if !drainMS.Known {
		return false
	}
	return drainMS.Value > DrainMost || (feedMS.Known && drainMS.Value-feedMS.Value > DrainOverFeed)
}

// FlushDue reports whether a planned flush is due: every FlushEvery since the
// last, or since feeding began.
func FlushDue(now, last time.Time) bool { return !last.IsZero() && now.Sub(last) >= FlushEvery }

// FlushLitres is how much water must drain from a zone that holds heldL litres
// to bring its solution from fromMS to toMS with water of waterMS, all mS/cm:
// held · ln((from-water)/(to-water)), the well-mixed zone again. It fails where
// the water itself is not under toMS.
func FlushLitres(fromMS, toMS, waterMS, heldL float64) (float64, error) {
	for _, v := range [...]float64{fromMS, toMS, waterMS} {
		if !garden.Finite(v) || v < 0 || v > 40 {
			return 0, fmt.Errorf("feed: flush: EC %v mS/cm, expected 0 to 40", v)
		}
	}
	if !garden.Finite(heldL) || heldL <= 0 {
		return 0, fmt.Errorf("feed: flush: zone holds %v L of water, expected more than 0", heldL)
	}
	if fromMS <= toMS {
		return 0, nil
	}
	if waterMS >= toMS {
		return 0, fmt.Errorf("feed: flush: water of %.2f mS/cm can't bring the mix to %.2f: use rain water or aim higher", waterMS, toMS)
	}
	return heldL * math.Log((fromMS-waterMS)/(toMS-waterMS)), nil
}

// Leaching fractions.
const (
	// LeastLF and UsualLF are the planned fraction of pots that are fed: keep it
	// under 0.15 (UF/IFAS ENH1268); the 0.10 is our judgement.
	LeastLF, UsualLF = 0.10, 0.15
	// MostLF bounds what salts may ask for. Our judgement.
	MostLF = 0.40
)

// LeachingFraction is the share of irrigation that should drain so that a pot
// watered at inMS keeps its drainage at drainMS, mS/cm: at steady state, with
// no uptake, what enters leaves (in = LF · drain). It is held within LeastLF to
// MostLF.
func LeachingFraction(inMS, drainMS float64) (float64, error) {
	if !garden.Finite(inMS) || inMS < 0 {
		return 0, fmt.Errorf("feed: leaching: water of %v mS/cm, expected 0 or more", inMS)
	}
	if !garden.Finite(drainMS) || drainMS <= 0 {
		return 0, fmt.Errorf("feed: leaching: wanted drainage of %v mS/cm, expected more than 0", drainMS)
	}
	return min(max(inMS/drainMS, LeastLF), MostLF), nil
}

// LeachedShare is the leaching fraction of what happened: leachate over water
// that entered (UF/IFAS ENH1268).
func LeachedShare(leachateL, enteredL float64) (float64, error) {
	if !garden.Finite(leachateL) || !garden.Finite(enteredL) || leachateL < 0 || enteredL <= 0 || leachateL > enteredL {
		return 0, fmt.Errorf("feed: leaching: %v L of leachate from %v L, expected 0 up to what entered", leachateL, enteredL)
	}
	return leachateL / enteredL, nil
}

// IrrigationFor is the water that replaces etL litres of loss and drains the
// fraction lf, L: ET/(1-LF) (UF/IFAS ENH1268).
func IrrigationFor(etL, lf float64) (float64, error) {
	if !garden.Finite(etL) || etL < 0 {
		return 0, fmt.Errorf("feed: leaching: loss of %v L, expected 0 or more", etL)
	}
	if !garden.Finite(lf) || lf < 0 || lf >= 1 {
		return 0, fmt.Errorf("feed: leaching fraction %v, expected 0 up to but not 1", lf)
	}
	return etL / (1 - lf), nil
}

// ReadingDoubt is by how much the variance of a capacitive moisture reading
// grows after a feed: salt raises such a reading. 4 right after a feed that
// adds 1 mS/cm, fading with a time constant of a day. Our judgement.
func ReadingDoubt(sinceFeed time.Duration, addedMS float64) float64 {
	if sinceFeed < 0 || !garden.Finite(addedMS) || addedMS <= 0 {
		return 1
	}
	return 1 + 3*addedMS*math.Exp(-sinceFeed.Hours()/24)
}

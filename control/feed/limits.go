package feed

import (
	"fmt"
	"time"

	"fabricpot/control/garden"
)

// What no feed exceeds, whoever asks. All are judgement around the extension
// figures: periodic feeds of 200 to 300 ppm N every 7 to 14 days (extension
// consensus, from memory).
const (
	// MaxNPPM is the strongest feed, mg N per litre.
	MaxNPPM = 300
	// MaxECmS is the highest conductivity of a ready solution, mS/cm.
	MaxECmS = 4.0
	// MaxDosePerVolume is the most solution a zone gets in one feed, litres
	// per litre of mix.
	MaxDosePerVolume = 0.12
	// MinGap is the shortest time between the starts of two feeds.
	MinGap = 4 * 24 * time.Hour
	// CapWindow is the window the cap on litres counts in.
	CapWindow = 7 * 24 * time.Hour
	// CapDoses is how many usual doses fit into one CapWindow.
	CapDoses = 2
)

// capWindow is what the sequence counts: longer than CapWindow by more than any
// pulse may flow, so that no window of that length, wherever it begins, cuts a
// pulse in two and sees more than the cap.
const capWindow = CapWindow + 12*time.Hour

// CheckStrength refuses a strength that is not a number, negative or over
// MaxNPPM.
func CheckStrength(nPPM float64) error {
	if !garden.Finite(nPPM) || nPPM < 0 {
		return fmt.Errorf("feed: strength %v ppm N, expected 0 to %d", nPPM, MaxNPPM)
	}
	if nPPM > MaxNPPM {
		return fmt.Errorf("feed: strength %g ppm N is over the limit of %d: feed weaker and more often", nPPM, MaxNPPM)
	}
	return nil
}

// CheckDose refuses litres of ready solution that are no amount, or more than
// MaxDosePerVolume of the zone's mix.
func CheckDose(litres, zoneL float64) error {
	if !garden.Finite(zoneL) || zoneL <= 0 {
		return fmt.Errorf("feed: zone of %v L, expected more than 0", zoneL)
	}
	if !garden.Finite(litres) || litres <= 0 {
		return fmt.Errorf("feed: dose of %v L, expected more than 0", litres)
	}
	if most := MaxDosePerVolume * zoneL; litres > most {
		return fmt.Errorf("feed: dose of %.2f L is over the limit of %.2f L for %.0f L of mix: give less, or split it over two feeds", litres, most, zoneL)
	}
	return nil
}

// CheckRecipe refuses a solution whose strength or conductivity is over the
// limits.
func CheckRecipe(r Recipe) error {
	if err := CheckStrength(r.PPM.N); err != nil {
		return err
	}
	if r.ECmS.Known && r.ECmS.Value > MaxECmS {
		return fmt.Errorf("feed: solution of %.1f mS/cm is over the limit of %.1f: feed weaker", r.ECmS.Value, MaxECmS)
	}
	return nil
}

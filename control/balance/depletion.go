package balance

import (
	"fmt"

	"fabricpot/control/garden"
)

// Depletion is the water account of a root zone, FAO-56 chapter 8, mm.
type Depletion struct {
	// TAWMM is total available water, RAWMM the part that comes without stress.
	TAWMM, RAWMM float64
	// DrMM is the root zone's depletion, 0 (capacity) to TAWMM.
	DrMM float64
}

// TAW is total available water, mm: 1000·(θcapacity − θlimit)·Zr with the
// rooted depth Zr in m (FAO-56 eq. 82). In a pot the capacity is container
// capacity and Zr at most the depth of the mix.
func TAW(capacity, lowerLimit garden.WaterFraction, rootedDepthM float64) float64 {
	return 1000 * float64(capacity-lowerLimit) * rootedDepthM
}

// AdjustedP is the depletion fraction for a daily ETc other than 5 mm, clipped
// to 0.1..0.8 (FAO-56 Table 22, footnote). A rule for fields: the controller
// does not use it, since it makes a pot sip.
func AdjustedP(p, etcMM float64) float64 { return min(max(p+0.04*(5-etcMM), 0.1), 0.8) }

// NewDepletion starts an account at drMM under capacity. RAW = p·TAW (FAO-56
// eq. 83). It refuses a TAW that is not positive and a p outside 0..1.
func NewDepletion(tawMM, p, drMM float64) (Depletion, error) {
	if !garden.Finite(tawMM) || tawMM <= 0 {
		return Depletion{}, fmt.Errorf("balance: total available water is %v mm, expected over 0", tawMM)
	}
	if !garden.Finite(p) || p <= 0 || p >= 1 {
		return Depletion{}, fmt.Errorf("balance: depletion fraction is %v, expected between 0 and 1", p)
	}
	if !garden.Finite(drMM) {
		return Depletion{}, fmt.Errorf("balance: depletion is %v mm, expected a number", drMM)
	}
	return Depletion{TAWMM: tawMM, RAWMM: p * tawMM, DrMM: min(max(drMM, 0), tawMM)}, nil
}

// Ks is the stress coefficient, 1 without stress, 0 at the lower limit (FAO-56
// eq. 84).
func (d Depletion) Ks() float64 {
	switch {
	case d.DrMM <= d.RAWMM:
		return 1
	case d.DrMM >= d.TAWMM:
		return 0
	}
	return (d.TAWMM - d.DrMM) / (d.TAWMM - d.RAWMM)
}

// Day runs one day: ETc without stress, water that reached the mix, both mm. It
// returns the stress coefficient at the day's start, the ETc adjusted by it,
// and what drained below the roots (FAO-56 eqs. 81, 85, 88).
func (d *Depletion) Day(etcMM, waterMM float64) (ks, adjustedMM, drainedMM float64) {
	ks = d.Ks()
	adjustedMM = ks * etcMM
	dr := d.DrMM - waterMM + adjustedMM
	drainedMM = max(0, -dr)
	d.DrMM = min(max(dr, 0), d.TAWMM)
	return ks, adjustedMM, drainedMM
}

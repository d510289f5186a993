package feed

import (
	"fmt"

	"fabricpot/control/garden"
)

// Question is what the feed calculator is asked.
type Question struct {
	Analysis garden.Analysis
	// NPPM is the strength wanted, mg N per litre.
	NPPM float64
	// Ratio is the R of an injector's 1:R; absent without one.
	Ratio      garden.Measured
	Convention garden.RatioConvention
	// Litres of ready solution wanted; absent for strengths alone.
	Litres garden.Measured
	// WaterECmS is the water's own conductivity, ECPer100PPM the label's slope,
	// both mS/cm. Without the slope there is no EC in the answer; without the
	// water's own it is taken as 0 and said so.
	WaterECmS, ECPer100PPM garden.Measured
	// DensityKGL turns a liquid's grams into millilitres.
	DensityKGL garden.Measured
}

// Answer is what the feed calculator says. Absent figures are nil.
type Answer struct {
	Label       string   `json:"label"`
	NPPM        float64  `json:"n_ppm"`
	GPerL       float64  `json:"g_per_l"`
	OzPer100Gal float64  `json:"oz_per_100gal"`
	PPPM        float64  `json:"p_ppm"`
	KPPM        float64  `json:"k_ppm"`
	Convention  string   `json:"ratio_convention,omitempty"`
	StockGPerL  *float64 `json:"stock_g_per_l,omitempty"`
	StockLitres *float64 `json:"stock_l,omitempty"`
	EC          *float64 `json:"ec,omitempty"`
	// Grams of product for the litres asked for, however it is diluted.
	Grams *float64 `json:"grams,omitempty"`
	ML    *float64 `json:"ml,omitempty"`
	Notes []string `json:"notes,omitempty"`
}

// Calculate answers q. It refuses labels over 100 %, negative strengths, ratios
// below 1 and strengths over [MaxNPPM].
func Calculate(q Question) (Answer, error) {
	if err := CheckAnalysis(q.Analysis); err != nil {
		return Answer{}, err
	}
	if err := CheckStrength(q.NPPM); err != nil {
		return Answer{}, err
	}
	gPerL, err := GramsPerLitre(q.NPPM, q.Analysis.N)
	if err != nil {
		return Answer{}, err
	}
	el := Elements(q.Analysis)
	a := Answer{
		Label: FormatAnalysis(q.Analysis), NPPM: q.NPPM,
		GPerL: gPerL, OzPer100Gal: OuncesPer100Gal(gPerL),
		PPPM: PPM(gPerL, el.P), KPPM: PPM(gPerL, el.K),
	}
	if q.Ratio.Known {
		s, err := StockGramsPerLitre(gPerL, q.Ratio.Value, q.Convention)
		if err != nil {
			return Answer{}, err
		}
		a.StockGPerL = &s
		a.Convention = string(garden.PartsOfFinal)
		if q.Convention == garden.PartsAdded {
			a.Convention = string(garden.PartsAdded)
		}
	}
	if q.Litres.Known {
		if q.Litres.Value <= 0 {
			return Answer{}, fmt.Errorf("feed: %v L of solution, expected more than 0", q.Litres.Value)
		}
		grams := gPerL * q.Litres.Value
		a.Grams = &grams
		if q.DensityKGL.Known {
			ml, err := Millilitres(grams, q.DensityKGL.Value)
			if err != nil {
				return Answer{}, err
			}
			a.ML = &ml
		}
		if q.Ratio.Known {
			l, err := StockLitres(q.Litres.Value, q.Ratio.Value, q.Convention)
			if err != nil {
				return Answer{}, err
			}
			a.StockLitres = &l
		}
	}
	if q.ECPer100PPM.Known {
		ec, err := EC(q.WaterECmS.Or(0), q.ECPer100PPM.Value, q.NPPM)
		if err != nil {
			return Answer{}, err
		}
		a.EC = &ec
		if !q.WaterECmS.Known {
			a.Notes = append(a.Notes, "the water's own EC is not known and was taken as 0")
		}
		if ec > MaxECmS {
			a.Notes = append(a.Notes, fmt.Sprintf("an EC of %.1f mS/cm is over the %.1f that a feed may have", ec, MaxECmS))
		}
	} else if q.WaterECmS.Known {
		a.Notes = append(a.Notes, "no EC: the label's rise per 100 ppm N is needed beside the water's own")
	}
	return a, nil
}

package feed

import (
	"fmt"

	"fabricpot/control/garden"
)

// FinalParts is how many parts of ready solution one part of stock becomes: R
// where 1:R means one part in R of final solution (University of Massachusetts
// Extension and most extension sheets), R+1 where the device adds one part to
// R parts of water. The ratio must be from 1 to 10 000.
func FinalParts(ratio float64, c garden.RatioConvention) (float64, error) {
	if !garden.Finite(ratio) || ratio < 1 || ratio > 10000 {
		return 0, fmt.Errorf("feed: injector ratio 1:%v, expected 1:1 to 1:10000", ratio)
	}
	switch c {
	case "", garden.PartsOfFinal:
		return ratio, nil
	case garden.PartsAdded:
		return ratio + 1, nil
	}
	return 0, fmt.Errorf("feed: ratio convention %q, expected %q or %q", c, garden.PartsOfFinal, garden.PartsAdded)
}

// StockGramsPerLitre is the concentration of the stock solution, g/L, that an
// injector of that ratio turns into gPerL of ready solution.
func StockGramsPerLitre(gPerL, ratio float64, c garden.RatioConvention) (float64, error) {
	parts, err := FinalParts(ratio, c)
	if err != nil {
		return 0, err
	}
	if !garden.Finite(gPerL) || gPerL < 0 {
		return 0, fmt.Errorf("feed: %v g/L of product, expected 0 or more", gPerL)
	}
	return gPerL * parts, nil
}

// StockLitres is how much stock a dose of ready solution draws, L.
func StockLitres(litres, ratio float64, c garden.RatioConvention) (float64, error) {
	parts, err := FinalParts(ratio, c)
	if err != nil {
		return 0, err
	}
	if !garden.Finite(litres) || litres < 0 {
		return 0, fmt.Errorf("feed: %v L of solution, expected 0 or more", litres)
	}
	return litres / parts, nil
}

// PlainSalt is one of the plain salts blends are made of.
type PlainSalt struct {
	Name string
	// SolubilityGL is g dissolved per litre of water at 20 °C, roughly.
	SolubilityGL float64
}

// PlainSalts are rough solubilities at 20 °C, all from memory. They serve as limits
// for a stock, with a warning from 80 % on, since cold nights lower them.
func PlainSalts() []PlainSalt {
	return []PlainSalt{
		{"potassium nitrate", 310},
		{"calcium nitrate tetrahydrate", 1000},
		{"magnesium sulfate heptahydrate", 700},
		{"monoammonium phosphate", 370},
		{"potassium sulfate", 110},
	}
}

// stockMargin is the share of solubility from which a stock is warned about.
const stockMargin = 0.8

// StockWarnings tells what is wrong with dissolving these products together at
// these g/L of stock. An empty result promises nothing about products whose
// label does not say what they hold.
//
// The rule of calcium against sulfate and phosphate is common practice: gypsum
// and calcium phosphate settle out of a concentrate and clog it, while the
// ready solution is thin enough to hold them.
func StockWarnings(products []garden.Product, stockGPerL []float64) []string {
	var out []string
	for i, a := range products {
		if a.Form == garden.Particulate {
			out = append(out, fmt.Sprintf("%s has solids in it: pour it by hand, it clogs injectors and emitters", nameOf(a)))
		}
		if i < len(stockGPerL) && a.SolubilityGL.Known {
			switch limit := a.SolubilityGL.Value; {
			case stockGPerL[i] > limit:
				out = append(out, fmt.Sprintf("%.0f g/L of %s won't dissolve: at most about %.0f g/L at 20 °C; use a smaller ratio or a weaker feed", stockGPerL[i], nameOf(a), limit))
			case stockGPerL[i] > stockMargin*limit:
				out = append(out, fmt.Sprintf("%.0f g/L of %s is close to the %.0f g/L that dissolve at 20 °C: it may settle out in the cold", stockGPerL[i], nameOf(a), limit))
			}
		}
		for _, b := range products[i+1:] {
			if w := clash(a, b); w != "" {
				out = append(out, w)
			}
		}
	}
	return out
}

func clash(a, b garden.Product) string {
	if !a.Calcium {
		a, b = b, a
	}
	// A product that holds both itself was made to stay in solution; only what
	// it meets counts.
	if !a.Calcium || b.Calcium {
		return ""
	}
	var with string
	switch {
	case b.Sulfate && b.Phosphate:
		with = "sulfate and phosphate"
	case b.Sulfate:
		with = "sulfate"
	case b.Phosphate:
		with = "phosphate"
	default:
		return ""
	}
	return fmt.Sprintf("never in one stock: calcium in %s and %s in %s settle out; keep two tanks, or mix only in the ready solution", nameOf(a), with, nameOf(b))
}

func nameOf(p garden.Product) string {
	if p.Name != "" {
		return p.Name
	}
	return string(p.ID)
}

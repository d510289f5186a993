package feed

import (
	"fmt"
	"math"

	"fabricpot/control/garden"
)

// Ingredient is one product of a recipe and how much of it goes in.
type Ingredient struct {
	Product garden.ProductID `json:"product"`
	Name    string           `json:"name"`
	// GPerL is grams per litre of ready solution, Grams for the whole recipe.
	GPerL float64 `json:"g_per_l"`
	Grams float64 `json:"grams"`
	// ML is the volume of a liquid for the whole recipe, mL; nil for solids.
	ML *float64 `json:"ml,omitempty"`
	// StockGPerL is the stock's concentration where an injector dilutes it.
	StockGPerL *float64 `json:"stock_g_per_l,omitempty"`
}

// Recipe is a ready solution: what goes into it and what it then is.
type Recipe struct {
	Litres      float64      `json:"litres"`
	Ingredients []Ingredient `json:"ingredients"`
	// PPM is the strength of the ready solution, mg/L of the elements.
	PPM NPK `json:"ppm"`
	// ECmS is the ready solution's conductivity, mS/cm, where the labels and
	// the water's own tell it.
	ECmS garden.Measured `json:"-"`
	// AddedECmS is the part of it that comes from the products.
	AddedECmS garden.Measured `json:"-"`
	Warnings  []string        `json:"warnings,omitempty"`
}

// Grams is what the whole recipe holds, g of each element.
func (r Recipe) Grams() NPK { return r.PPM.Times(r.Litres / 1000) }

// Blend is a list of products and the amount of each per litre.
type Blend struct {
	Products []garden.Product
	GPerL    []float64
}

// PPM is the strength of the blend, mg/L of each element.
func (b Blend) PPM() NPK {
	var out NPK
	for i, p := range b.Products {
		out = out.Add(Elements(p.Analysis).Times(10 * b.GPerL[i]))
	}
	return out
}

// AddedEC is the conductivity the blend adds to the water, mS/cm. It is absent
// where one of the products has nitrogen and no slope, or has no nitrogen and
// so no meaning for a slope per ppm N.
func (b Blend) AddedEC() garden.Measured {
	var sum float64
	for i, p := range b.Products {
		if b.GPerL[i] == 0 {
			continue
		}
		if !p.ECPer100PPM.Known || p.Analysis.N == 0 {
			return garden.Measured{}
		}
		sum += p.ECPer100PPM.Value * PPM(b.GPerL[i], p.Analysis.N) / 100
	}
	return garden.Known(sum)
}

// Mix resolves a plan's blend at a strength of nPPM mg N per litre: each
// product brings its share of the nitrogen. It fails on a product that the
// garden file has not, shares that do not sum to 1, and a product with a share
// but no nitrogen.
func Mix(g *garden.Garden, shares []garden.ProductShare, nPPM float64) (Blend, error) {
	if len(shares) == 0 {
		return Blend{}, fmt.Errorf("feed: no product named, expected at least one from the garden file")
	}
	var b Blend
	var sum float64
	for _, s := range shares {
		p, ok := g.Product(s.Product)
		if !ok {
			return Blend{}, fmt.Errorf("feed: product %q is not in the garden file: add it under products with its label", s.Product)
		}
		if err := CheckAnalysis(p.Analysis); err != nil {
			return Blend{}, fmt.Errorf("feed: product %q: %w", s.Product, err)
		}
		if !garden.Finite(s.NShare) || s.NShare < 0 || s.NShare > 1 {
			return Blend{}, fmt.Errorf("feed: product %q brings %v of the nitrogen, expected a share from 0 to 1", s.Product, s.NShare)
		}
		sum += s.NShare
		gPerL, err := GramsPerLitre(nPPM*s.NShare, p.Analysis.N)
		if err != nil {
			return Blend{}, fmt.Errorf("feed: product %q: %w", s.Product, err)
		}
		b.Products = append(b.Products, *p)
		b.GPerL = append(b.GPerL, gPerL)
	}
	if math.Abs(sum-1) > 1e-6 {
		return Blend{}, fmt.Errorf("feed: the products' shares of nitrogen sum to %g, expected 1", sum)
	}
	return b, nil
}

// NewRecipe writes down a ready solution of litres at nPPM. inj may be the zero
// Injector for a can or bucket; with one, stock strengths and what is wrong
// with such a stock are told too.
func NewRecipe(g *garden.Garden, shares []garden.ProductShare, nPPM, litres float64, inj garden.Injector) (Recipe, error) {
	if !garden.Finite(litres) || litres <= 0 {
		return Recipe{}, fmt.Errorf("feed: %v L of solution, expected more than 0", litres)
	}
	b, err := Mix(g, shares, nPPM)
	if err != nil {
		return Recipe{}, err
	}
	r := Recipe{Litres: litres, PPM: b.PPM(), AddedECmS: b.AddedEC()}
	if r.AddedECmS.Known && g.Supply.ECmS.Known {
		r.ECmS = garden.Known(r.AddedECmS.Value + g.Supply.ECmS.Value)
	}
	stock := inj.Present() && !inj.Premixed
	stocks := make([]float64, len(b.Products))
	for i, p := range b.Products {
		in := Ingredient{Product: p.ID, Name: nameOf(p), GPerL: b.GPerL[i], Grams: b.GPerL[i] * litres}
		if p.Form != garden.Soluble && p.DensityKGL.Known {
			ml, err := Millilitres(in.Grams, p.DensityKGL.Value)
			if err != nil {
				return Recipe{}, fmt.Errorf("feed: product %q: %w", p.ID, err)
			}
			in.ML = &ml
		}
		if stock {
			s, err := StockGramsPerLitre(in.GPerL, inj.Ratio, inj.Convention)
			if err != nil {
				return Recipe{}, err
			}
			stocks[i], in.StockGPerL = s, &s
		} else {
			stocks[i] = in.GPerL
		}
		r.Ingredients = append(r.Ingredients, in)
	}
	if inj.Present() {
		r.Warnings = StockWarnings(b.Products, stocks)
	}
	return r, nil
}

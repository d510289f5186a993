package main

import (
	"errors"

	"fabricpot/control/feed"
	"fabricpot/control/garden"

	"github.com/spf13/cobra"
)

type feedFlags struct {
	label, convention        string
	nPPM, ratio              garden.Measured
	litres, gallons, density garden.Measured
	waterEC, ecPer100        garden.Measured
}

func calcFeed(s streams) *cobra.Command {
	var f feedFlags
	cmd := &cobra.Command{
		Use:   "feed --label N-P-K --n-ppm PPM [flags]",
		Short: "How much of a fertiliser for a strength",
		Long: `feed says how much of a product makes a solution of a given strength.

  grams per litre = ppm N / (10 · % N)        P = 0.4364 · P2O5, K = 0.8302 · K2O

The label's three figures are percent of N, P2O5 and K2O; the answer gives P and K
as elements. A ppm is 1 mg per litre. Ounces are for 100 US gallons.

--ratio R is an injector of 1:R. Extension sheets mean one part of stock in R
parts of ready solution (of-final); a device may add one part to R parts of water
(added), which makes it weaker: say which with --ratio-means.

EC is the water's own plus the label's rise per 100 ppm N.`,
		Example: `  A bucket of 20 litres at 150 ppm N:
  gateway calc feed --label 20-10-20 --n-ppm 150 --litres 20
  150 / (10 · 20) = 0.75 g per litre, so 15 g for the bucket.

  A stock tank behind a 1:200 injector:
  gateway calc feed --label 20-10-20 --n-ppm 150 --ratio 200 --water-ec 0.4 --ec-per-100ppm 0.62
  0.75 g per litre · 200 = 150 g per litre of stock.`,
		Args: usage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			a, err := f.work(cmd)
			if err != nil {
				return asked(err)
			}
			return reply(s, cmd, a)
		},
	}
	fl := cmd.Flags()
	fl.SortFlags = false
	fl.StringVar(&f.label, "label", "", "the bag's `N-P-K`, such as 20-10-20")
	numberFlag(fl, &f.nPPM, "n-ppm", "strength in `ppm` of nitrogen, mg per litre of ready solution")
	numberFlag(fl, &f.ratio, "ratio", "the `R` of an injector's 1:R")
	fl.StringVar(&f.convention, "ratio-means", string(garden.PartsOfFinal), "of-final: 1 part in R of ready solution; added: 1 part to R of water")
	numberFlag(fl, &f.litres, "litres", "`litres` of ready solution wanted")
	numberFlag(fl, &f.gallons, "gallons", "US `gallons` of ready solution wanted, in place of litres")
	numberFlag(fl, &f.density, "density", "of a liquid product, `kg/L`: gives millilitres too")
	numberFlag(fl, &f.waterEC, "water-ec", "the water's own conductivity in `mS/cm`")
	numberFlag(fl, &f.ecPer100, "ec-per-100ppm", "what 100 ppm N of this product add, `mS/cm` (the label says)")
	return cmd
}

func (f feedFlags) work(cmd *cobra.Command) (answer, error) {
	if err := firstOf(
		needs(cmd, "a feed", "label", "n-ppm"),
		apart(cmd, "tell the amount in one of them", []string{"litres"}, []string{"gallons"}),
	); err != nil {
		return answer{}, err
	}
	if f.convention != string(garden.PartsOfFinal) && f.convention != string(garden.PartsAdded) {
		return answer{}, unknownWord("--ratio-means", f.convention, []string{string(garden.PartsOfFinal), string(garden.PartsAdded)})
	}
	if cmd.Flags().Changed("ratio-means") {
		if err := needs(cmd, "--ratio-means", "ratio"); err != nil {
			return answer{}, err
		}
	}
	litres := f.litres
	if f.gallons.Known {
		litres = garden.Known(f.gallons.Value * feed.LitresPerGallon)
	}
	if f.density.Known && !litres.Known {
		return answer{}, errors.New("--density gives millilitres of an amount: add --litres or --gallons")
	}
	a, err := feed.ParseAnalysis(f.label)
	if err != nil {
		return answer{}, err
	}
	r, err := feed.Calculate(feed.Question{Analysis: a, NPPM: f.nPPM.Value, Ratio: f.ratio, Convention: garden.RatioConvention(f.convention),
		Litres: litres, WaterECmS: f.waterEC, ECPer100PPM: f.ecPer100, DensityKGL: f.density})
	if err != nil {
		return answer{}, err
	}
	t := []row{
		fig("product", r.GPerL, 4, "g/L", "of ready solution"),
		fig("", r.OzPer100Gal, 2, "oz", "in 100 US gallons"),
	}
	add := func(what string, v *float64, decimals int, unit, remark string) {
		if v != nil {
			t = append(t, fig(what, *v, decimals, unit, remark))
		}
	}
	if litres.Known {
		t = append(t, fig("solution", litres.Value, 2, "L", ""))
	}
	add("weigh", r.Grams, 1, "g", "of product")
	add("or measure", r.ML, 1, "mL", "of product")
	add("stock", r.StockGPerL, 1, "g/L", "of concentrate, 1 part "+map[bool]string{true: "to R of water", false: "in R of ready solution"}[r.Convention == string(garden.PartsAdded)])
	add("stock used", r.StockLitres, 3, "L", "for that solution")
	t = append(t,
		fig("N", r.NPPM, 1, "ppm", ""),
		fig("P", r.PPPM, 2, "ppm", "element"),
		fig("K", r.KPPM, 2, "ppm", "element"))
	add("EC", r.EC, 2, "mS/cm", "")
	return answer{figures: r, table: t, notes: r.Notes, cautions: []string{
		"read and follow the product's label first; gloves and eye protection; out of children's and animals' reach; keep feed out of drinking water by an air gap or the backflow device the local code asks for"}}, nil
}

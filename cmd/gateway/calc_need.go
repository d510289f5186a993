package main

import (
	"fmt"

	"fabricpot/control/crop"
	"fabricpot/control/garden"

	"github.com/spf13/cobra"
)

type needFlags struct {
	crop, exposure    string
	days, eto, canopy garden.Measured
}

// needAnswer is the JSON of calc need.
type needAnswer struct {
	Crop     string   `json:"crop"`
	Stage    string   `json:"stage"`
	Kc       float64  `json:"kc"`
	EToMM    float64  `json:"eto_mm"`
	Exposure float64  `json:"exposure_factor"`
	ETcMM    float64  `json:"etc_mm"`
	CanopyM2 float64  `json:"canopy_m2"`
	Litres   float64  `json:"litres"`
	P        float64  `json:"p"`
	PTable   float64  `json:"p_table"`
	Source   string   `json:"source"`
	Notes    []string `json:"notes,omitempty"`
}

func calcNeed(s streams) *cobra.Command {
	var f needFlags
	cmd := &cobra.Command{
		Use:   "need --crop NAME --days-after-planting N --eto MM [--canopy M2]",
		Short: "What one plant drinks in a day",
		Long: `need turns a day's reference evapotranspiration into litres for one plant:

  ETc = Kc · ETo · exposure        litres = ETc (mm) · canopy (m²)

Kc is the crop coefficient of FAO-56 Table 12, flat at first, rising through
development, flat in mid-season and falling at the end (Table 11, eq. 66). The
canopy is the ground the leaves cover seen from above, now, not the pot's mouth:
a grown plant reaches far over its rim. Without --canopy the library's for that
age is taken, which is judgement.

p is the share of the available water a field crop may use before it feels it,
p = p(Table 22) + 0.04·(5 - ETc), within 0.1 to 0.8. It is a rule for fields; in
pots the gateway waters by the table's own p.

Exposure is where the pot stands: sheltered, open or windy-paved. Without it the
plant stands as in a field (factor 1).`,
		Example: `  A tomato in fruit on a hot day, its leaves covering 0.8 m²:
  gateway calc need --crop tomato --days-after-planting 90 --eto 6 --canopy 0.8
  Kc 1.15 · 6 mm = 6.9 mm, and 6.9 · 0.8 = 5.52 litres. The 46 cm pot it stands in
  covers 0.17 m² and would have made that 1.2 litres.`,
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
	fl.StringVar(&f.crop, "crop", "", "the vegetable's `name`")
	numberFlag(fl, &f.days, "days-after-planting", "age in `days`")
	numberFlag(fl, &f.eto, "eto", "reference evapotranspiration in `mm` a day")
	numberFlag(fl, &f.canopy, "canopy", "ground the plant's leaves cover now, in m²")
	fl.StringVar(&f.exposure, "exposure", "", "sheltered, open or windy-paved")
	return cmd
}

func (f needFlags) work(cmd *cobra.Command) (answer, error) {
	if err := needs(cmd, "a plant's need", "crop", "days-after-planting", "eto"); err != nil {
		return answer{}, err
	}
	c, ok := crop.Lookup(f.crop)
	if !ok {
		return answer{}, unknownWord("--crop", f.crop, crop.Names())
	}
	factor := 1.0
	var notes []string
	if cmd.Flags().Changed("exposure") {
		switch e := garden.Exposure(f.exposure); e {
		case garden.Sheltered, garden.OpenAir, garden.WindyPaved:
			m := crop.MicroclimateOf(e)
			factor = m.Factor
			notes = append(notes, fmt.Sprintf("exposure %s: %v, may be %v to %v; %s", e, m.Factor, m.Low, m.High, m.Caution))
		default:
			return answer{}, unknownWord("--exposure", f.exposure,
				[]string{string(garden.Sheltered), string(garden.OpenAir), string(garden.WindyPaved)})
		}
	}
	n, err := c.NeedAt(f.days.Value, f.eto.Value, 0, factor)
	if err != nil {
		return answer{}, err
	}
	canopy := n.CanopyM2
	if f.canopy.Known {
		if canopy = f.canopy.Value; canopy <= 0 || canopy > 20 {
			return answer{}, fmt.Errorf("--canopy is %v m², expected over 0 and at most 20", canopy)
		}
	} else {
		notes = append(notes, fmt.Sprintf("no --canopy: %.2f m² taken for a plant of that age, which is judgement", canopy))
	}
	if n.Over {
		notes = append(notes, fmt.Sprintf("the book's season for this crop is over after %.0f days; Kc stays at its last value", c.SeasonDays()))
	}
	j := needAnswer{Crop: c.Name, Stage: n.Stage, Kc: n.Kc, EToMM: f.eto.Value, Exposure: factor, ETcMM: n.ETcMM,
		CanopyM2: canopy, Litres: n.ETcMM * canopy, P: n.P, PTable: c.P, Source: c.Source, Notes: notes}
	return answer{figures: j, notes: notes, table: []row{
		fig("litres", j.Litres, 2, "L a day", "for one plant"),
		fig("ETc", j.ETcMM, 2, "mm a day", "Kc · ETo · exposure"),
		fig("Kc", j.Kc, 3, "", c.Name+", "+j.Stage),
		fig("exposure", factor, 2, "", ""),
		fig("canopy", canopy, 2, "m²", ""),
		fig("p", j.P, 2, "", fmt.Sprintf("%.2f in the table", c.P)),
		word("source", c.Source),
	}}, nil
}

package main

import (
	"fmt"
	"math"

	"fabricpot/control/garden"
	"fabricpot/control/medium"

	"github.com/spf13/cobra"
)

type capacityFlags struct {
	model                           string
	thetaR, thetaS, alpha, n        garden.Measured
	hb, lambda                      garden.Measured
	height, bottomRadius, topRadius garden.Measured
}

// capacityAnswer is the JSON of calc capacity; fractions of volume.
type capacityAnswer struct {
	Capacity   float64  `json:"capacity"`
	AirSpace   float64  `json:"air_space"`
	EAW        float64  `json:"eaw"`
	WBC        float64  `json:"wbc"`
	Porosity   float64  `json:"porosity"`
	AirAt10    float64  `json:"air_at_10_cm"`
	LowerLimit float64  `json:"lower_limit"`
	Top        float64  `json:"at_top"`
	VolumeL    *float64 `json:"volume_l,omitempty"`
	WaterL     *float64 `json:"water_l,omitempty"`
	Notes      []string `json:"notes,omitempty"`
}

func calcCapacity(s streams) *cobra.Command {
	var f capacityFlags
	cmd := &cobra.Command{
		Use:   "capacity --model vg|bc|exp --theta-r F --theta-s F ... --height CM",
		Short: "What a pot of a mix holds once it has drained",
		Long: `capacity says how much water and air a mix holds in a pot of a given height after
a thorough watering has drained. It is not the mix's alone: suction grows by 1 cm
with each cm over the floor, so a tall pot of the same mix is drier at the top
and holds a smaller share than a low one.

Models of the retention curve, h the suction in cm:
  vg    van Genuchten 1980       Se = [1 + (αh)ⁿ]^-(1-1/n)    --alpha --n
  bc    Brooks and Corey 1964    Se = (hb/h)^λ, 1 under hb    --hb --lambda
  exp   exponential (Gardner)    Se = e^(-αh)                 --alpha
and θ = θr + (θs-θr)·Se. Capacity is the mean of θ over the pot, weighted by its
area at each height (Milks, Fonteno and Larson 1989, J. ASHS 114:53-56).

eaw is easily available water, θ(10)-θ(50), and wbc the buffer after it,
θ(50)-θ(100) (De Boodt and Verdonck 1972). Radii make a tapered pot and its
litres; without them the pot is a cylinder.`,
		Example: `  A pot 20 cm deep that can be checked by hand:
  gateway calc capacity --model bc --theta-r 0.10 --theta-s 0.70 --hb 5 --lambda 0.5 --height 20
  The lowest 5 cm stay full; over them the mean of √(5/h) up to 20 cm is 2/3 of a
  15 cm layer, so Se is (5 + 10)/20 = 0.75 and capacity 0.10 + 0.60·0.75 = 0.55.

  gateway calc capacity --model vg --theta-r 0.10 --theta-s 0.88 --alpha 0.15 --n 1.6 \
      --height 45 --bottom-radius 21 --top-radius 23`,
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
	fl.StringVar(&f.model, "model", "vg", "vg, bc or exp")
	numberFlag(fl, &f.thetaR, "theta-r", "θr, residual water, a `fraction`")
	numberFlag(fl, &f.thetaS, "theta-s", "θs, water at saturation, a `fraction`")
	numberFlag(fl, &f.alpha, "alpha", "α in `1/cm` (vg, exp)")
	numberFlag(fl, &f.n, "n", "n, over 1 (vg)")
	numberFlag(fl, &f.hb, "hb", "air entry suction hb in `cm` (bc)")
	numberFlag(fl, &f.lambda, "lambda", "index λ (bc)")
	numberFlag(fl, &f.height, "height", "depth of the mix in `cm`")
	numberFlag(fl, &f.bottomRadius, "bottom-radius", "radius at the floor in `cm`")
	numberFlag(fl, &f.topRadius, "top-radius", "radius at the surface in `cm`")
	return cmd
}

func (f capacityFlags) retention(cmd *cobra.Command) (garden.Retention, error) {
	r := garden.Retention{ThetaR: f.thetaR.Value, ThetaS: f.thetaS.Value,
		AlphaPerCM: f.alpha.Value, N: f.n.Value, HbCM: f.hb.Value, Lambda: f.lambda.Value}
	var idle, wants []string
	switch f.model {
	case "vg":
		r.Model, wants, idle = garden.VanGenuchten, []string{"alpha", "n"}, []string{"hb", "lambda"}
	case "bc":
		r.Model, wants, idle = garden.BrooksCorey, []string{"hb", "lambda"}, []string{"alpha", "n"}
	case "exp":
		r.Model, wants, idle = garden.Exponential, []string{"alpha"}, []string{"n", "hb", "lambda"}
	default:
		return r, unknownWord("--model", f.model, []string{"vg", "bc", "exp"})
	}
	return r, firstOf(
		without(cmd, "is no parameter of --model "+f.model, idle...),
		needs(cmd, "--model "+f.model, append([]string{"theta-r", "theta-s"}, append(wants, "height")...)...),
	)
}

func (f capacityFlags) work(cmd *cobra.Command) (answer, error) {
	r, err := f.retention(cmd)
	if err != nil {
		return answer{}, err
	}
	c, err := medium.NewCurve(r)
	if err != nil {
		return answer{}, err
	}
	// Any width does for a cylinder: capacity is a share of volume.
	pot := garden.Shape{HeightCM: f.height.Value, BottomDiameterCM: 10, TopDiameterCM: 10}
	wide := f.bottomRadius.Known || f.topRadius.Known
	if wide {
		if err := needs(cmd, "a tapered pot", "bottom-radius", "top-radius"); err != nil {
			return answer{}, err
		}
		pot.BottomDiameterCM, pot.TopDiameterCM = 2*f.bottomRadius.Value, 2*f.topRadius.Value
	}
	cc, err := medium.Capacity(c, pot)
	if err != nil {
		return answer{}, err
	}
	j := capacityAnswer{
		Capacity: cc, AirSpace: c.Porosity() - cc, EAW: medium.EAW(c), WBC: medium.WBC(c),
		Porosity: c.Porosity(), AirAt10: medium.AirAt10(c), LowerLimit: medium.LowerLimit(c), Top: c.Theta(pot.HeightCM),
	}
	if j.AirSpace < medium.MinAirSpace {
		j.Notes = append(j.Notes, fmt.Sprintf("air space is under %.0f %%: roots lack air after every watering (UC ANR)", 100*medium.MinAirSpace))
	}
	share := "of volume"
	t := []row{
		fig("capacity", cc, 4, share, "water once drained"),
		fig("air space", j.AirSpace, 4, share, "air once drained"),
		fig("porosity", j.Porosity, 4, share, "both together"),
		fig("at the top", j.Top, 4, share, "water there once drained"),
		fig("eaw", j.EAW, 4, share, "easily available water, 10 to 50 cm"),
		fig("wbc", j.WBC, 4, share, "buffer, 50 to 100 cm"),
		fig("air at 10 cm", j.AirAt10, 4, share, ""),
		fig("lower limit", j.LowerLimit, 4, share, "water at 100 cm, where growth has stopped"),
	}
	if wide {
		a, b := f.bottomRadius.Value, f.topRadius.Value
		litres := math.Pi / 3 * pot.HeightCM * (a*a + a*b + b*b) / 1000
		water := litres * cc
		j.VolumeL, j.WaterL = &litres, &water
		t = append(t, fig("volume", litres, 2, "L", "of mix"), fig("water", water, 2, "L", "once drained"))
	}
	return answer{figures: j, table: t, notes: j.Notes}, nil
}

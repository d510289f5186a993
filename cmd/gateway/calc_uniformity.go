package main

import (
	"fmt"
	"strings"

	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control/garden"
	"fabricpot/control/hydraulics"

	"github.com/spf13/cobra"
)

// lowShare is how far under the mean an emitter is worth cleaning.
const lowShare = 0.8

type uniformityFlags struct {
	makerCV, net garden.Measured
	perPlant     int
}

// uniformityAnswer is the JSON of calc uniformity.
type uniformityAnswer struct {
	N      int      `json:"emitters"`
	Mean   float64  `json:"mean"`
	Min    float64  `json:"min"`
	Max    float64  `json:"max"`
	DUlq   float64  `json:"du_lq"`
	CU     float64  `json:"cu"`
	CV     float64  `json:"cv"`
	EU     *float64 `json:"eu,omitempty"`
	Gross  *float64 `json:"gross,omitempty"`
	Clean  []int    `json:"clean"`
	Judged string   `json:"judged"`
}

func calcUniformity(s streams) *cobra.Command {
	f := uniformityFlags{perPlant: 1}
	cmd := &cobra.Command{
		Use:   "uniformity CAUGHT CAUGHT ...",
		Short: "How evenly emitters give, from caught volumes",
		Long: `uniformity takes what each emitter of a line gave over the same time - mL in a
cup, or any one unit - in their order along the line, and says how even that is.

  du_lq   100 · mean of the lowest quarter / mean of all
  cu      100 · [1 - Σ|x - mean| / (n · mean)]                (Christiansen 1942)
  eu      100 · (1 - 1.27·CV/√Np) · least / mean, with the maker's --maker-cv and
          --per-plant emitters (Keller and Karmeli; ASAE EP405)

90 and more is excellent, 80 good, 70 fair. Drip lines in the field mostly have a
du_lq of 65 to 80. Emitters under 80 % of the mean are listed to be cleaned first
(judgement). --net gives the water to put on so that the lowest quarter still gets
that much: net / du_lq, the usual scheduling step.`,
		Example: `  Eight cups after two minutes, in mL:
  gateway calc uniformity 80 120 90 95 100 100 105 110
  The mean is 100, the lowest quarter (80 and 90) 85: du_lq is 85.`,
		// A negative volume looks like a flag; it is refused either way.
		Args: usage(cobra.MinimumNArgs(2)),
		RunE: func(cmd *cobra.Command, args []string) error {
			a, err := f.work(cmd, args)
			if err != nil {
				return asked(err)
			}
			return reply(s, cmd, a)
		},
	}
	fl := cmd.Flags()
	fl.SortFlags = false
	numberFlag(fl, &f.makerCV, "maker-cv", "the maker's coefficient of variation, a `share` such as 0.05")
	fl.Var(whole{&f.perPlant}, "per-plant", "emitters on each plant")
	numberFlag(fl, &f.net, "net", "`water` each plant should get, in any unit")
	return cmd
}

func (f uniformityFlags) work(cmd *cobra.Command, args []string) (answer, error) {
	caught := make([]float64, len(args))
	for i, a := range args {
		v, rest, err := units.Number(a)
		if err != nil || strings.TrimSpace(rest) != "" {
			return answer{}, fmt.Errorf("volume %d is %q, expected a plain number", i+1, a)
		}
		caught[i] = v
	}
	u, err := hydraulics.Measure(caught)
	if err != nil {
		return answer{}, err
	}
	j := uniformityAnswer{N: u.N, Mean: u.Mean, Min: u.Min, Max: u.Max, DUlq: u.DUlq, CU: u.CU, CV: u.CV,
		Clean: []int{}, Judged: hydraulics.Judged(u.DUlq)}
	t := []row{
		fig("du_lq", u.DUlq, 1, "%", j.Judged),
		fig("cu", u.CU, 1, "%", "Christiansen"),
		fig("mean", u.Mean, 2, "", fmt.Sprintf("%d emitters, %v to %v", u.N, u.Min, u.Max)),
		fig("cv", u.CV, 3, "", "as measured"),
	}
	if cmd.Flags().Changed("per-plant") {
		if err := needs(cmd, "--per-plant", "maker-cv"); err != nil {
			return answer{}, err
		}
	}
	if f.makerCV.Known {
		eu, err := hydraulics.EmissionUniformity(f.makerCV.Value, f.perPlant, u.Min, u.Mean)
		if err != nil {
			return answer{}, err
		}
		j.EU = &eu
		t = append(t, fig("eu", eu, 1, "%", hydraulics.Judged(eu)))
	}
	if f.net.Known {
		if f.net.Value <= 0 {
			return answer{}, fmt.Errorf("--net is %v, expected over 0", f.net.Value)
		}
		if u.DUlq <= 0 {
			return answer{}, fmt.Errorf("the lowest quarter gave nothing, so no amount makes up for it: clean those emitters first")
		}
		gross := f.net.Value / (u.DUlq / 100)
		j.Gross = &gross
		t = append(t, fig("put on", gross, 2, "", fmt.Sprintf("so that the lowest quarter gets %v", f.net.Value)))
	}
	var names []string
	for i, v := range caught {
		if v < lowShare*u.Mean {
			j.Clean = append(j.Clean, i+1)
			names = append(names, fmt.Sprintf("%d (%v)", i+1, v))
		}
	}
	if len(names) > 0 {
		t = append(t, word("clean", strings.Join(names, ", ")))
	}
	return answer{figures: j, table: t}, nil
}

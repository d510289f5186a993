package main

import (
	"fmt"

	"fabricpot/control/garden"
	"fabricpot/control/hydraulics"

	"github.com/spf13/cobra"
)

// mostLoss is how much of the head a line of turbulent emitters may lose: its
// flow then varies by about a tenth (rule read in a secondary text).
const mostLoss = 0.20

type pipeFlags struct {
	flow, inside, length, temp, c garden.Measured
	head, rise, exponent          garden.Measured
	outlets                       int
}

// pipeAnswer is the JSON of calc pipe; heads in metres of water.
type pipeAnswer struct {
	LossM         float64  `json:"loss_m"`
	LossKPa       float64  `json:"loss_kpa"`
	VelocityMS    float64  `json:"velocity_ms"`
	Reynolds      float64  `json:"reynolds"`
	Friction      float64  `json:"friction_factor"`
	ThroughM      float64  `json:"loss_without_outlets_m"`
	HazenWilliams float64  `json:"hazen_williams_m"`
	C             float64  `json:"hazen_williams_c"`
	F             *float64 `json:"christiansen_f,omitempty"`
	EndHeadM      *float64 `json:"end_head_m,omitempty"`
	EndFlowShare  *float64 `json:"end_flow_share,omitempty"`
	Notes         []string `json:"notes,omitempty"`
}

func calcPipe(s streams) *cobra.Command {
	f := pipeFlags{temp: garden.Known(20), c: garden.Known(150)}
	cmd := &cobra.Command{
		Use:   "pipe --flow LPH --inside MM --length M [flags]",
		Short: "What a hose costs in pressure, and what the far emitter gets",
		Long: `pipe says how much head - metres of water, 10.2 to the bar - a straight hose eats,
by Darcy and Weisbach with the friction of smooth polyethylene. Beside it stands
what the tables by Hazen-Williams say: with C 150 they are 10 to 30 % too low in
hose of 26 mm and less. Valves, filters and bends come on top.

--outlets N shares the flow among N emitters or branches evenly along the hose,
so that less and less flows on. --head is the pressure at its inlet and --rise how
much higher the far end lies (negative: lower); with --exponent, 0 for a
compensating emitter, 0.5 for a simple one, it says what the far emitter gives.

The inside diameter counts: a "16 mm" drip hose is 13.6 mm inside. Parts that
stand on drinking water need the backflow device the local code asks for.`,
		Example: `  gateway calc pipe --flow 200 --inside 13.6 --length 20 --outlets 10 --head 8 --exponent 0.5
  All 200 L/h to the end would cost 0.407 m; shared among ten outlets it is 0.17 m.
  2 % less head is 1 % less water at the far end: fine.`,
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
	numberFlag(fl, &f.flow, "flow", "flow into the hose in `L/h`")
	numberFlag(fl, &f.inside, "inside", "inside diameter in `mm`")
	numberFlag(fl, &f.length, "length", "length in `metres`")
	fl.Var(whole{&f.outlets}, "outlets", "emitters or branches evenly along it; none: all flows to the end")
	numberFlag(fl, &f.head, "head", "pressure at the inlet in `metres` of water")
	numberFlag(fl, &f.rise, "rise", "height of the far end over the inlet in `metres`")
	numberFlag(fl, &f.exponent, "exponent", "the emitters' `exponent`, 0 to 1")
	numberFlag(fl, &f.temp, "temp", "the water's temperature in °C")
	numberFlag(fl, &f.c, "c", "Hazen-Williams `C` for the comparison")
	return cmd
}

func (f pipeFlags) work(cmd *cobra.Command) (answer, error) {
	if err := needs(cmd, "a hose", "flow", "inside", "length"); err != nil {
		return answer{}, err
	}
	if len(given(cmd, "rise", "exponent")) > 0 {
		if err := needs(cmd, given(cmd, "rise", "exponent")[0], "head"); err != nil {
			return answer{}, err
		}
	}
	if f.flow.Value <= 0 {
		return answer{}, fmt.Errorf("--flow is %v L/h, expected over 0", f.flow.Value)
	}
	p := hydraulics.Pipe{InsideMM: f.inside.Value, LengthM: f.length.Value, WaterC: f.temp.Value}
	whole, err := p.At(f.flow.Value)
	if err != nil {
		return answer{}, err
	}
	hw, err := p.HazenWilliams(f.flow.Value, f.c.Value)
	if err != nil {
		return answer{}, err
	}
	j := pipeAnswer{LossM: whole.LossM, VelocityMS: whole.VelocityMS, Reynolds: whole.Reynolds, Friction: whole.Friction,
		ThroughM: whole.LossM, HazenWilliams: hw, C: f.c.Value}
	if cmd.Flags().Changed("outlets") {
		if j.LossM, err = p.Lateral(f.flow.Value, f.outlets); err != nil {
			return answer{}, err
		}
		share := hydraulics.ChristiansenF(f.outlets, hydraulics.HazenWilliamsM)
		j.F = &share
		j.HazenWilliams *= share
	}
	j.LossKPa = j.LossM * hydraulics.KPaPerMetre
	t := []row{
		fig("loss", j.LossM, 4, "m", fmt.Sprintf("of head, %.2f kPa", j.LossKPa)),
		fig("velocity", j.VelocityMS, 3, "m/s", "at the inlet"),
		fig("Reynolds", j.Reynolds, 0, "", fmt.Sprintf("friction factor %.4f", j.Friction)),
		fig("tables say", j.HazenWilliams, 4, "m", fmt.Sprintf("Hazen-Williams, C %v", j.C)),
	}
	if j.F != nil {
		t = append(t, fig("without outlets", j.ThroughM, 4, "m", fmt.Sprintf("Christiansen's F for the tables %.4f", *j.F)))
	}
	if f.head.Known {
		if err := f.farEnd(&j, &t); err != nil {
			return answer{}, err
		}
	}
	return answer{figures: j, table: t, notes: j.Notes}, nil
}

// farEnd adds what is left at the far end of the hose.
func (f pipeFlags) farEnd(j *pipeAnswer, t *[]row) error {
	if f.head.Value <= 0 || f.head.Value > 200 {
		return fmt.Errorf("--head is %v m, expected over 0 and at most 200", f.head.Value)
	}
	if r := f.rise.Or(0); r < -200 || r > 200 {
		return fmt.Errorf("--rise is %v m, expected -200 to 200", r)
	}
	end := f.head.Value - j.LossM - f.rise.Or(0)
	j.EndHeadM = &end
	*t = append(*t, fig("far end", end, 3, "m", fmt.Sprintf("of %v m at the inlet", f.head.Value)))
	if end <= 0 {
		j.Notes = append(j.Notes, "no pressure is left at the far end: less flow, a wider or shorter hose, or more head")
	} else if lost := 1 - end/f.head.Value; lost > mostLoss {
		j.Notes = append(j.Notes, fmt.Sprintf("%.0f %% of the head is lost on the way: over 20 %% the far emitters starve unless they are pressure compensating", 100*lost))
	}
	if !f.exponent.Known {
		return nil
	}
	if x := f.exponent.Value; x < 0 || x > 1 {
		return fmt.Errorf("--exponent is %v, expected 0 to 1", x)
	}
	share := hydraulics.FlowShare(end/f.head.Value, f.exponent.Value)
	j.EndFlowShare = &share
	*t = append(*t, fig("far emitter", 100*share, 1, "%", "of what one at the inlet gives"))
	return nil
}

package main

import (
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"
	"time"

	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control"
	"fabricpot/control/crop"
	"fabricpot/control/feed"
	"fabricpot/control/garden"

	"github.com/spf13/cobra"
)

func newCheck(s streams) *cobra.Command {
	var days string
	cmd := &cobra.Command{
		Use:   "check [FILE]",
		Short: "Say what a garden file means, pot by pot",
		Long: `check reads a garden file and prints what the controller understood of it: for
each zone how much water its mix holds once drained (capacity), where watering
starts (refill point) and stops, how many litres lie between, in how many pulses
of how many minutes they are given, and what share is meant to drain. Then how the
water need is found by what is known of the weather, or, with --weather, for the
days of that file: the method, and what of it is estimated. Then come the warnings.

A file with faults is refused with all of them at once, each with its line and
column. Without FILE the example terrace is checked.`,
		Args: usage(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			u, err := understand(args)
			if err != nil {
				return err
			}
			if len(args) == 0 {
				fmt.Fprintf(s.err, "no FILE was named: this is the example, %s\n", exampleName)
			}
			s.out = u.source.Reads.To(s.out)
			if err := printPlan(s.out, u.plan, u.source.Reads); err != nil {
				return err
			}
			printGauges(s.out, u.garden)
			printUncompared(s.out, u.garden)
			printSalts(s.out, u.garden, u.plan.WashesByNeed)
			printWashes(s.out, u.plan)
			printCalling(cmd.Context(), s.out, u.garden)
			if err := printDemand(s.out, s.err, u.garden, days); err != nil {
				return err
			}
			u.printWarnings(u.source.Reads.To(s.err))
			for _, line := range u.waysAmiss() {
				fmt.Fprintln(s.err, line)
			}
			return nil
		},
	}
	cmd.Flags().StringVar(&days, "weather", "", "say how the need of each day of this `CSV` file is found")
	return cmd
}

// printPlan's tables are narrow enough for a terminal of 80 columns.
func printPlan(w io.Writer, p *control.Plan, as units.Reads) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	unit := as.VolumeUnit()
	fmt.Fprintf(t, "zone\tmix %[1]s\tcapacity %%\trefill %%\tstop %%\trefill %[1]s\tdrains %%\t\n", unit)
	for _, z := range p.Zones() {
		drains := fmt.Sprintf("%.0f", 100*z.LeachingFraction)
		if z.LeachByNeed {
			drains = "by need"
		}
		fmt.Fprintf(t, "%s\t%s\t%.1f\t%.1f\t%.1f\t%s\t%s\t\n", z.ID, as.Figure(z.VolumeL, 0), 100*z.Capacity, 100*z.Refill, 100*z.Stop, as.Figure(z.RefillL, 1), drains)
	}
	fmt.Fprintln(t)
	fmt.Fprintf(t, "zone\thot day %[1]s\tpulses\tpulse %[1]s\tpulse min\tsoak min\tline\t\n", unit)
	for _, z := range p.Zones() {
		line, pulse := string(z.Line), fmt.Sprintf("%.0f", z.PulseTime.Minutes())
		if z.HandTended {
			line, pulse = "by hand", "-"
		}
		fmt.Fprintf(t, "%s\t%s\t%d\t%s\t%s\t%.0f\t%s\t\n", z.ID, as.Figure(z.PeakDailyL, 1), z.Pulses, as.Figure(z.PulseL, 2), pulse, z.Soak.Minutes(), line)
	}
	fmt.Fprintln(t)
	fmt.Fprintf(t, "line\tflow %[1]s/h\tlongest min\tlimit %[1]s/day\t\n", unit)
	for _, l := range p.Lines() {
		fmt.Fprintf(t, "%s\t%s\t%.0f\t%s\t\n", l.ID, as.Figure(l.FlowLPH, 1), l.MaxOn.Round(time.Minute).Minutes(), as.Figure(l.CapL, 1))
	}
	return t.Flush()
}

// printUncompared names the probes that were never compared with their drained pot: a
// mix's curve is right for the mix, and a probe sits in it as well as it was pushed in.
func printUncompared(w io.Writer, g *garden.Garden) {
	if g.Hardware.Kind == garden.Bench {
		return
	}
	var open []string
	g.EachZone(func(p *garden.Pot, z *garden.Zone) {
		for i := range z.Probes {
			c := g.CalibrationFor(p, &z.Probes[i])
			if _, compared := c.ProbeOffsets[z.Probes[i].ID]; c.Kind != garden.NoCurve && !compared {
				open = append(open, string(z.Probes[i].ID))
			}
		}
	})
	if len(open) > 0 {
		fmt.Fprintf(w, "\nprobes never compared with their drained pot: %s; after the first deep soak and six hours of drainage: gateway calibrate anchor PROBE FILE\n", strings.Join(open, ", "))
	}
}

// printWashes says of each zone that is washed by need where that begins.
func printWashes(w io.Writer, p *control.Plan) {
	head := "\nsalts that cost harvest, in the water that the drained pot holds, mS/cm:\n"
	for _, z := range p.Zones() {
		if v := z.Salts(); v.Kept() {
			fmt.Fprintf(w, "%s  %s: %s\n", head, z.ID, v.Limit())
			head = ""
		}
	}
}

// printSalts names zones from which clearly less is to drain than keeps the supply's salts
// below what their plants take. washed tells of a zone whether as much drains as they ask for.
func printSalts(w io.Writer, g *garden.Garden, washed func(garden.ZoneID) bool) {
	water := g.Supply.ECmS
	if !water.Known {
		keeps, could := false, false
		g.EachZone(func(_ *garden.Pot, z *garden.Zone) {
			_, known := crop.SaltLimit(z, g.Crops, 0)
			keeps = keeps || z.LeachingFraction == 0
			could = could || z.LeachByNeed && known && z.Line != ""
		})
		if keeps || could {
			fmt.Fprint(w, "\nsalts: the supply's conductivity is not known, and a pot that drains too little keeps what it brings")
			if could {
				fmt.Fprint(w, "; with supply: { conductivity: … } as much drains as salts ask for, unless leaching: says how much")
			}
			fmt.Fprintln(w)
		}
		return
	}
	gap := "\n"
	g.EachZone(func(_ *garden.Pot, z *garden.Zone) {
		need, name, ok := crop.ZoneLeaching(z, g.Crops, water)
		if !ok || need <= z.LeachingFraction+0.02 || washed(z.ID) && need <= feed.MostLF {
			return
		}
		if need > feed.MostLF {
			fmt.Fprintf(w, "%ssalts: %s: water of %.1f mS/cm is too salty for %s: more than the %.0f %% that may be asked would have to drain (FAO-29); mix in rain water\n", gap, z.ID, water.Value, name, 100*feed.MostLF)
		} else {
			fmt.Fprintf(w, "%ssalts: %s: with water of %.1f mS/cm %.0f %% has to drain for %s (FAO-29) and %.0f %% does: write leaching: %.0f %%, or mix in rain water\n",
				gap, z.ID, water.Value, 100*need, name, 100*z.LeachingFraction, math.Ceil(100*need))
		}
		gap = ""
	})
}

package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"time"

	"fabricpot/control/garden"
	"fabricpot/control/hydraulics"

	"github.com/spf13/cobra"
)

type flowFlags struct {
	standFlags
	minutes  float64
	exponent garden.Measured
	write    bool
	probes   bool
	byMeter  bool
	settle   time.Duration
}

func newFlow(s streams) *cobra.Command {
	var f flowFlags
	cmd := &cobra.Command{
		Use:   "flow LINE [FILE]",
		Short: "Measure what a line really gives, emitter by emitter",
		Long: `flow opens one line for a bounded time while a cup stands under each emitter, and
asks afterwards what each cup caught. It tells the line's flow, its distribution
uniformity (lowest quarter) and Christiansen's, the emitters to clean, and how far
all that is from the label.

Where a flow meter is wired its pulses are counted meanwhile, and what the cups
caught tells its pulses per litre. With --meter there are no cups: the meter alone
tells the line's flow.

With --probes there are no cups: the water goes to the pots, and flow tells which
probes answered. One that stays still while another, elsewhere, answers has its
plug swapped.

The line opens only after the safety words, through the same guard as ever, and is
closed before the first question about it: at the end of the time, on Ctrl-C, and
where nobody answers.`,
		Example: `  gateway flow chilli my-terrace.yaml --minutes 5 --write
  gateway flow chilli --hardware bench`,
		Args: usage(cobra.RangeArgs(1, 2)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return flow(cmd.Context(), s, args, f)
		},
	}
	fl := cmd.Flags()
	fl.Float64Var(&f.minutes, "minutes", 5, "how long the line is open, 0.5 to 20")
	numberFlag(fl, &f.exponent, "exponent", "the emitters' exponent, 0 compensating to 1 laminar; tells what the `pressure` does")
	fl.BoolVar(&f.probes, "probes", false, "see which probes answer to the line, in place of catching water")
	spanVar(fl, &f.settle, "settle", 20*time.Minute, "with --probes: how long water is given to reach them")
	fl.BoolVar(&f.byMeter, "meter", false, "read the flow meter in place of cups; the water goes to the pots")
	fl.BoolVar(&f.write, "write", false, "write flow, and uniformity and meter constant where the garden file has them, into it and keep the old one")
	f.add(cmd)
	return cmd
}

// cup is one emitter's place and what was caught there.
type cup struct {
	zone   garden.ZoneID
	n      int
	rated  float64 // L/h by the label
	caught float64 // mL
}

func flow(ctx context.Context, s streams, args []string, f flowFlags) error {
	if !(f.minutes >= 0.5 && f.minutes <= 20) {
		return wrongUse{fmt.Errorf("--minutes %v: expected 0.5 to 20", f.minutes)}
	}
	if f.settle < 0 || f.settle > 6*time.Hour {
		return wrongUse{fmt.Errorf("--settle %v: expected 0 to 6h", f.settle)}
	}
	if f.probes && (f.write || f.exponent.Known) {
		return wrongUse{errors.New("--probes catches no water, so there is nothing for --write or --exponent")}
	}
	if f.byMeter && (f.probes || f.exponent.Known) {
		return wrongUse{errors.New("--meter tells the flow alone: leave out --probes and --exponent")}
	}
	if f.exponent.Known && !(f.exponent.Value >= 0 && f.exponent.Value <= 1) {
		return wrongUse{fmt.Errorf("--exponent %v: expected 0 to 1", f.exponent.Value)}
	}
	if f.write && len(args) < 2 {
		return wrongUse{errors.New("--write needs the garden file's name: the example lies inside the program")}
	}
	u, err := understand(args[1:])
	if err != nil {
		return err
	}
	line, ok := u.garden.Line(garden.LineID(args[0]))
	if !ok {
		var names []string
		for _, l := range u.garden.Lines {
			names = append(names, string(l.ID))
		}
		return wrongUse{fmt.Errorf("%s has no line %q, expected one of %s", u.name, args[0], strings.Join(names, ", "))}
	}
	if err := f.hardwareOf(u); err != nil {
		return err
	}
	if u.garden.Hardware.Kind == garden.Board && line.Valve.Kind == garden.RemoteValve {
		return fmt.Errorf("line %s has a valve far away, which only the running gateway can reach and know closed: put the cups in place, start the gateway, ask for a known amount on the page, and give what each cup caught to 'gateway calc uniformity'; the flow is the sum over the time it was open, which the page's decisions tell", line.ID)
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	ask := newAsker(ctx, s, f.patience)
	if err := ask.safety(ctx); err != nil {
		return err
	}
	f.startCM = 25
	st, err := openStand(s, u, f.standFlags)
	if err != nil {
		return err
	}
	if f.probes {
		err = f.probeTest(ctx, s, st, line)
	} else if f.byMeter {
		err = f.measureByMeter(ctx, s, st, line)
	} else {
		err = f.measure(ctx, s, ask, st, line)
	}
	return errors.Join(err, st.Close())
}

func (f flowFlags) measure(ctx context.Context, s streams, ask *asker, st *stand, line *garden.Line) error {
	cups := cupsOf(line)
	fmt.Fprintf(ask.out, "Put a cup under each of the %d emitters of line %s; the line will be open for %g min and then close by itself.\n", len(cups), line.ID, f.minutes)
	ready, err := ask.yes(ctx, "Is every cup in place?", st.suggest("yes"))
	if err != nil {
		return err
	}
	if !ready {
		return fmt.Errorf("%w: nothing was opened", errDeclined)
	}
	before, _ := st.pulsed()
	given, err := f.give(ctx, s, st, line)
	if err != nil {
		return err
	}
	after, counted := st.pulsed()
	st.fillCups(line, cups)
	for i := range cups {
		c := &cups[i]
		v, _, err := ask.number(ctx, fmt.Sprintf("Emitter %d of zone %s caught, mL", c.n, c.zone), 0, 1e5, st.suggest(fmt.Sprintf("%.0f", c.caught)))
		if err != nil {
			return err
		}
		c.caught = v
	}
	m := found{}
	if m.du, err = f.tell(s, st, line, cups, given); err != nil {
		return err
	}
	if m.pulsesPerL, err = f.meter(ctx, s, ask, st, cups, after-before, counted); err != nil {
		return err
	}
	if f.write {
		return writeFlows(s, st.u.name, line, cups, given.Open, m)
	}
	return nil
}

// found is what a catch tells besides flows: the lowest quarter over the mean,
// and the meter's constant.
type found struct{ du, pulsesPerL garden.Measured }

func cupsOf(line *garden.Line) []cup {
	var out []cup
	for _, o := range line.Outlets {
		for n := range o.Emitters {
			out = append(out, cup{zone: o.Zone, n: n + 1, rated: o.FlowLPH})
		}
	}
	return out
}

// suggest is an answer the bench can give; nothing on a board.
func (st *stand) suggest(s string) string {
	if st.bench == nil {
		return ""
	}
	return s
}

// fillCups is the bench's catch: what the line truly gave, spread over its
// emitters unevenly, as invented as the rest of the bench.
func (st *stand) fillCups(line *garden.Line, cups []cup) {
	if st.bench == nil {
		return
	}
	st.bench.Wires.Advance()
	total := 1000 * st.bench.Terrace.LineLitres(line.ID)
	rng := rand.New(rand.NewPCG(uint64(len(cups)), 11))
	var sum float64
	for i := range cups {
		cups[i].caught = cups[i].rated * max(0.3, 1+0.07*rng.NormFloat64())
		if i == len(cups)/2 {
			cups[i].caught *= 0.6 // one is half blocked
		}
		sum += cups[i].caught
	}
	for i := range cups {
		cups[i].caught *= total / sum
	}
}

// lph is a volume caught in a time as a flow.
func lph(ml float64, open time.Duration) float64 { return ml / 1000 / open.Hours() }

func (f flowFlags) tell(s streams, st *stand, line *garden.Line, cups []cup, given garden.Delivery) (du garden.Measured, err error) {
	share := make([]float64, len(cups)) // of the label, so that sizes may differ
	var total float64
	for i, c := range cups {
		share[i] = lph(c.caught, given.Open) / c.rated
		total += lph(c.caught, given.Open)
	}
	fmt.Fprintf(s.out, "line %s gives %.2f L/h where the label says %.2f: %.0f %%\n", line.ID, total, line.FlowLPH(), 100*total/line.FlowLPH())
	for _, o := range line.Outlets {
		fmt.Fprintf(s.out, "  zone %s: %d emitters of %.2f L/h each, label %.2f\n", o.Zone, o.Emitters, outletLPH(cups, o, given.Open), o.FlowLPH)
	}
	if len(cups) >= 2 {
		m, err := hydraulics.Measure(share)
		if err != nil {
			return du, err
		}
		fmt.Fprintf(s.out, "distribution uniformity, lowest quarter: %.0f %% (%s)\nChristiansen's uniformity: %.0f %%\n", m.DUlq, hydraulics.Judged(m.DUlq), m.CU)
		du = garden.Known(m.DUlq / 100)
		for i, c := range cups {
			if share[i] < 0.8*m.Mean {
				fmt.Fprintf(s.out, "clean or replace: emitter %d of zone %s gives %.0f %% of the mean\n", c.n, c.zone, 100*share[i]/m.Mean)
			}
		}
	}
	if p := st.u.garden.Supply.PressureKPa; f.exponent.Known && p.Known {
		// Labels are rated at 1 bar (common practice, no source).
		expected := hydraulics.FlowShare(p.Value/100, f.exponent.Value)
		fmt.Fprintf(s.out, "at %.0f kPa an emitter of exponent %g gives %.0f %% of what it gives at 100 kPa\n", p.Value, f.exponent.Value, 100*expected)
	} else if f.exponent.Known {
		fmt.Fprintln(s.out, "the garden file gives the supply no pressure, so --exponent says nothing")
	}
	if ratio := total / line.FlowLPH(); ratio < 0.7 || ratio > 1.3 {
		fmt.Fprintln(s.out, "note: far from the label: look at filter, pressure and hose before you trust the new figure")
	}
	return du, nil
}

// outletLPH is the mean flow of one zone's emitters.
func outletLPH(cups []cup, o garden.Outlet, open time.Duration) float64 {
	var sum float64
	for _, c := range cups {
		if c.zone == o.Zone {
			sum += lph(c.caught, open)
		}
	}
	return sum / float64(o.Emitters)
}

// meter calibrates a pulse meter by the same catch: by what was counted, or where
// none is wired by what somebody else counted. A constant from few pulses is told
// and not returned.
func (f flowFlags) meter(ctx context.Context, s streams, ask *asker, st *stand, cups []cup, pulses uint64, counted bool) (perL garden.Measured, err error) {
	n := float64(pulses)
	switch {
	case counted && pulses == 0:
		return perL, errors.New("the flow meter counted nothing while the line was open: look at its plug, its direction and the resistor at its pin")
	case counted:
		fmt.Fprintf(s.out, "the flow meter counted %d pulses\n", pulses)
	default:
		asked, word, err := ask.number(ctx, "Pulses the flow meter counted meanwhile, or none", 1, 1e7, "none", "none")
		if err != nil || word == "none" {
			return perL, err
		}
		n = asked
	}
	var ml float64
	for _, c := range cups {
		ml += c.caught
	}
	if ml <= 0 {
		return perL, errors.New("nothing was caught, so the meter can't be calibrated")
	}
	// One pulse more or less.
	fmt.Fprintf(s.out, "the meter counts %.1f pulses per litre, ± %.1f by one pulse\n", n/ml*1000, 1000/ml)
	if c := st.u.garden.Supply.MeterPulsesPerL; c.Known && math.Abs(n/ml*1000-c.Value) > 0.05*c.Value {
		fmt.Fprintf(s.out, "note: the garden file says %.1f: change meter under supply, or measure again with more water\n", c.Value)
	}
	if n < leastPulses {
		fmt.Fprintf(s.out, "note: under %d pulses one more or less says too much; measure longer with --minutes\n", leastPulses)
		return perL, nil
	}
	return garden.Known(n / ml * 1000), nil
}

// leastPulses keep the error of one pulse under 2 %.
const leastPulses = 50

// give opens the line for the asked time; it is closed on return.
func (f flowFlags) give(ctx context.Context, s streams, st *stand, line *garden.Line) (garden.Delivery, error) {
	fmt.Fprintln(s.err, "open")
	given, err := st.openFor(ctx, line.ID, time.Duration(f.minutes*float64(time.Minute)))
	if given.Open > 0 {
		fmt.Fprintf(s.err, "closed and confirmed after %v (%s)\n", given.Open.Round(100*time.Millisecond), given.End)
	}
	return given, err
}

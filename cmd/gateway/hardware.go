package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/cmd/gateway/internal/socket"
	"fabricpot/control/garden"
	"fabricpot/sensors"
	"fabricpot/sensors/w1"
	"fabricpot/valves/gpioline"

	"github.com/spf13/cobra"
)

type hardwareFlags struct {
	standFlags
	watch bool
	every time.Duration
}

func newHardware(s streams) *cobra.Command {
	var f hardwareFlags
	cmd := &cobra.Command{
		Use:   "hardware [FILE]",
		Short: "Say what is wired, what answers and what is missing",
		Long: `hardware looks for what the garden FILE expects (none: the example on the bench):
converters on their buses and what each input reads now, GPIO chips by label and
whether the valves' lines are free, what flow meter, rain gauge and float say, and
1-wire thermometers. It reads; it opens no valve and drives no line.

Something expected and missing makes it fail, so that a script can tell.`,
		Example: `  gateway hardware my-terrace.yaml --watch
  Touch one probe after the other and see whose value moves; tip the rain gauge's
  bucket, lift the float, and see them counted.`,
		Args: usage(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return hardware(cmd.Context(), s, args, f)
		},
	}
	cmd.Flags().BoolVar(&f.watch, "watch", false, "show live values until interrupted")
	spanVar(cmd.Flags(), &f.every, "every", time.Second, "with --watch: how often")
	f.add(cmd)
	return cmd
}

func hardware(ctx context.Context, s streams, args []string, f hardwareFlags) error {
	if f.every < 100*time.Millisecond || f.every > time.Hour {
		return wrongUse{fmt.Errorf("--every %v: expected 100ms to 1h", f.every)}
	}
	u, err := understand(args)
	if err != nil {
		return err
	}
	if err := f.hardwareOf(u); err != nil {
		return err
	}
	st, err := openLooker(s, u, f.standFlags)
	if err != nil {
		return err
	}
	defer st.Close()
	missing := st.report(s.out)
	if !f.watch {
		if len(missing) > 0 {
			return fmt.Errorf("missing or wrong: %s", strings.Join(missing, "; "))
		}
		return nil
	}
	for {
		t := time.NewTimer(f.every)
		select {
		case <-ctx.Done():
			t.Stop()
			return nil
		case <-t.C:
		}
		if st.bench != nil {
			st.sleep(10 * time.Minute) // a bench's pots would hardly move in a second
		}
		fmt.Fprintf(s.out, "\n%s\n", st.moment().Wall.Format("2006-01-02 15:04:05"))
		st.probeTable(s.out)
		st.gaugeTable(s.out)
	}
}

// openLooker opens a garden's probes and nothing else. On the bench it is the
// whole stand; on a board no line is requested.
func openLooker(s streams, u *understood, f standFlags) (*stand, error) {
	if u.garden.Hardware.Kind == garden.Bench {
		f.startCM = 18
		return openStand(s, u, f)
	}
	lock, err := socket.Listen(f.socket)
	if err != nil {
		return nil, fmt.Errorf("the hardware is in use, and one converter can't serve two programs: %w", err)
	}
	hw := &board{}
	st := &stand{
		u: u, readers: map[garden.Input]sensors.VoltReader{}, sleep: time.Sleep,
		moment:  runner.NewBoardClock(u.garden.Site.Zone).Moment,
		open:    openInputs(u.garden, hw),
		closers: []func() error{lock.Close, hw.Close},
	}
	if err := st.watchBoard(hw, s.err); err != nil {
		return nil, errors.Join(err, st.Close())
	}
	return st, nil
}

// report prints everything and returns what is missing or wrong, in words.
func (st *stand) report(w io.Writer) (missing []string) {
	if st.bench != nil {
		fmt.Fprintln(w, "virtual bench: converters, pins and soil are simulated")
	}
	missing = append(missing, st.converters(w)...)
	missing = append(missing, st.probeTable(w)...)
	missing = append(missing, st.lines(w)...)
	missing = append(missing, st.gaugeTable(w)...)
	missing = append(missing, st.thermometers(w)...)
	if len(missing) == 0 {
		fmt.Fprintln(w, "\neverything the garden file expects is there")
	} else {
		fmt.Fprintln(w, "\nmissing or wrong:")
		for _, m := range missing {
			fmt.Fprintln(w, "  -", m)
		}
	}
	return missing
}

// busNames are the buses of the garden's probes, and on a board those the
// machine has besides.
func (st *stand) busNames() []string {
	names := []string{""}
	for _, p := range st.u.garden.ProbeList() {
		if _, kernel := p.Input.Kernel(); p.Remote == nil && !kernel && !slices.Contains(names, p.Input.Bus) {
			names = append(names, p.Input.Bus)
		}
	}
	if st.bench != nil {
		return names
	}
	found, _ := filepath.Glob("/dev/i2c-*")
	for _, n := range found {
		if n != st.u.garden.Hardware.I2CBus && !slices.Contains(names, n) {
			names = append(names, n)
		}
	}
	return names
}

// converters looks for every address a converter can have.
func (st *stand) converters(w io.Writer) (missing []string) {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "\nbus\tconverter\tstate\tinputs, V")
	for _, bus := range st.busNames() {
		shown := bus
		if shown == "" {
			shown = st.u.garden.Hardware.I2CBus
		}
		if shown == "" {
			shown = "first"
		}
		for addr := uint16(0x48); addr <= 0x4b; addr++ {
			at := garden.Input{Bus: bus, Addr: addr}
			expected := slices.ContainsFunc(st.u.garden.ProbeList(), func(p garden.Probe) bool {
				return p.Remote == nil && p.Input.Bus == bus && p.Input.Addr == addr
			})
			r, err := st.open(at)
			if err != nil {
				if expected {
					missing = append(missing, fmt.Sprintf("converter %#x on bus %s: %v", addr, shown, err))
					fmt.Fprintf(t, "%s\t%#x\tmissing\t\n", shown, addr)
				}
				continue
			}
			st.readers[at] = r
			var vs []string
			for ch := range 4 {
				v, err := r.ReadVolts(ch)
				if err != nil {
					vs = append(vs, "?")
					continue
				}
				vs = append(vs, strconv.FormatFloat(float64(v), 'f', 3, 64))
			}
			state := "answers"
			if !expected {
				state = "answers, but no probe of the garden is on it"
			}
			fmt.Fprintf(t, "%s\t%#x\t%s\t%s\n", shown, addr, state, strings.Join(vs, "  "))
		}
	}
	t.Flush()
	return missing
}

// probeTable prints what each probe reads and returns what is wrong with them.
func (st *stand) probeTable(w io.Writer) (wrong []string) {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "\nprobe\tinput\tvolts\tspread mV\twater %\tstate\t")
	for i, p := range st.u.garden.ProbeList() {
		at := fmt.Sprintf("%#x/%d", p.Input.Addr, p.Input.Channel)
		if name, kernel := p.Input.Kernel(); kernel {
			at = fmt.Sprintf("%s/%d", name, p.Input.Channel)
		}
		l, err := st.look(i, p)
		if err != nil {
			if p.Remote == nil {
				wrong = append(wrong, fmt.Sprintf("probe %s: %v", p.ID, err))
			} else {
				at = "broker"
			}
			fmt.Fprintf(t, "%s\t%s\t-\t-\t-\t%v\t\n", p.ID, at, err)
			continue
		}
		state, water := l.fault(), "-"
		if state != "" {
			wrong = append(wrong, fmt.Sprintf("probe %s: %s", p.ID, state))
		} else if state = "good"; !l.Calibrated {
			state = "no calibration"
		}
		if l.Calibrated {
			water = fmt.Sprintf("%.1f", 100*float64(l.Water))
		}
		fmt.Fprintf(t, "%s\t%s\t%.4f\t%.1f\t%s\t%s\t\n", p.ID, at, float64(l.Volts), 1000*float64(l.Spread), water, state)
	}
	t.Flush()
	return wrong
}

// lines says where each valve hangs and whether its GPIO line is free.
func (st *stand) lines(w io.Writer) (missing []string) {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	if st.bench == nil {
		chips, err := gpioline.Chips()
		fmt.Fprintln(t, "\nGPIO chip\tdevice\tlines\t")
		for _, c := range chips {
			fmt.Fprintf(t, "%s\t%s\t%d\t\n", c.Label, c.Path, c.Lines)
		}
		if err != nil {
			missing = append(missing, err.Error())
		}
	}
	fmt.Fprintln(t, "\nline\tvalve\tcloses at\tstate\t")
	for i := range st.u.garden.Lines {
		l := &st.u.garden.Lines[i]
		level := "low level"
		if l.Valve.ActiveLow {
			level = "high level"
		}
		switch {
		case l.Valve.Kind == garden.RemoteValve:
			fmt.Fprintf(t, "%s\tnode %s\t-\tover the broker\t\n", l.ID, l.Valve.Node)
			continue
		case st.bench != nil:
			fmt.Fprintf(t, "%s\tbench pin %d\t%s\tclosed\t\n", l.ID, l.Valve.Pin, level)
			continue
		}
		chip := l.Valve.Chip
		if chip == "" {
			chip = st.u.garden.Hardware.GPIOChip
		}
		state, err := gpioline.InUse(chip, l.Valve.Pin)
		words := "free"
		switch {
		case err != nil:
			words = "missing"
			missing = append(missing, fmt.Sprintf("line %s: %v", l.ID, err))
		case state.Used:
			words = fmt.Sprintf("held by %q", state.Holder)
			missing = append(missing, fmt.Sprintf("line %s: GPIO line %d of %s is %s", l.ID, l.Valve.Pin, chip, words))
		}
		other, lacks := closingPin(chip, l)
		if lacks != "" {
			missing = append(missing, lacks)
		}
		fmt.Fprintf(t, "%s\t%s line %d %s%s\t%s\t%s\t\n", l.ID, chip, l.Valve.Pin, state.Name, other, level, words)
	}
	t.Flush()
	return missing
}

// thermometers lists 1-wire thermometers as the kernel's driver shows them.
func (st *stand) thermometers(w io.Writer) (missing []string) {
	devices := os.DirFS(w1.Devices)
	if st.bench != nil {
		devices = st.bench.Wires.W1()
	}
	st.u.garden.EachZone(func(_ *garden.Pot, z *garden.Zone) {
		if z.Thermometer == "" {
			return
		}
		t, err := w1.New(devices, z.Thermometer)
		if err == nil {
			var c float64
			if c, err = t.Read(); err == nil {
				fmt.Fprintf(w, "\nthermometer of %s: %.1f °C\n", z.ID, c)
				return
			}
		}
		missing = append(missing, fmt.Sprintf("zone %s: %v", z.ID, err))
	})
	if st.bench != nil {
		return missing
	}
	found := readThermometers(devices)
	if len(found) == 0 {
		fmt.Fprintln(w, "\nno 1-wire thermometer found")
		return missing
	}
	fmt.Fprintln(w, "\n1-wire thermometers:")
	for _, f := range found {
		fmt.Fprintln(w, " ", f)
	}
	return missing
}

package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"fabricpot/cmd/gateway/internal/socket"
	"fabricpot/control/garden"
	"fabricpot/sensors/calibrate"

	"github.com/spf13/cobra"
)

type calibrateFlags struct {
	standFlags
	points, method, out, svg string
	probes                   []string
	tare, dry, start         garden.Measured
	volume, height           garden.Measured
}

func newCalibrate(s streams) *cobra.Command {
	var f calibrateFlags
	cmd := &cobra.Command{
		Use:   "calibrate MIX [FILE]",
		Short: "Find out what a probe's voltage means in a mix",
		Long: `calibrate makes the calibration of a mix of the garden FILE (none: the example)
and writes it into a file of its own, which the garden file then names. A kitchen
scale, a bucket and a measuring jug are enough.

Three methods; a session asks for what it needs, reads the probe itself, keeps
every answer, and goes on where it stopped when it is called again:

  weight   a small container of the mix is soaked, drained and weighed as it
           dries over days; any number of points, and the container's capacity
           carried over to the height of each pot
  bucket   known water is stirred into dry mix step by step, packed to the
           pot's density
  points   two points: the mix air-dry, and drained at container capacity

With --points a table is read instead and nothing is touched: columns volts and
one of water (fraction), weight (g; with --tare, --dry, --volume) or added (mL;
with --volume); probe and temperature may follow.

A line, a parabola, one over the voltage and a monotone curve are compared by how
well each foretells a point from the others. Points that are not monotone or span
too little are refused with the reason. Several probes, read side by side in one
container or in one table, share one shape with an offset each. The old calibration file is kept.`,
		Example: `  gateway calibrate peat --points my-weighings.csv --tare 310 --dry 480 --volume 3
  gateway calibrate peat my-terrace.yaml --method weight --probe chilli-main
  gateway calibrate peat my-terrace.yaml --probe chilli-main,chilli-deep
  gateway calibrate peat --hardware bench        try a session with nothing wired`,
		Args: usage(cobra.RangeArgs(1, 2)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return calibrateMix(cmd.Context(), s, args, f)
		},
	}
	fl := cmd.Flags()
	fl.StringVar(&f.points, "points", "", "a table of points, a CSV `FILE`; none: a session")
	fl.StringVar(&f.method, "method", "", "weight, bucket or points; none: the session asks")
	fl.StringSliceVar(&f.probes, "probe", nil, "the `PROBE` that is read, or up to four in the same container, by commas; none: the mix's first")
	fl.StringVar(&f.out, "out", "", "calibration `FILE` to write; none: MIX.calibration.yaml beside the garden file")
	fl.StringVar(&f.svg, "svg", "", "draw points and curve into this SVG `FILE`")
	numberFlag(fl, &f.tare, "tare", "with weights: the empty container, `grams`")
	numberFlag(fl, &f.dry, "dry", "with weights: the dry mix alone, `grams`")
	numberFlag(fl, &f.volume, "volume", "with weights or added water: the packed mix, `litres`")
	numberFlag(fl, &f.height, "height", "with weights that begin drained: the mix's depth in the container, `cm`")
	numberFlag(fl, &f.start, "start-water", "with added water: water in the mix at the start, `litres`")
	f.add(cmd)
	cmd.AddCommand(newAnchor(s), newNights(s))
	return cmd
}

// add gives a command the flags of hardware.
func (f *standFlags) add(cmd *cobra.Command) {
	fl := cmd.Flags()
	fl.StringVar(&f.hardware, "hardware", "", "bench or board; none: what the garden file says")
	fl.StringVar(&f.journal, "journal", "", "journal `FILE` of a board; none: the garden file's")
	fl.Uint64Var(&f.seed, "seed", 1, "bench only: what chance depends on")
	spanVar(fl, &f.patience, "patience", patience, "how long to wait for an answer")
	socketFlag(cmd, &f.socket)
}

func calibrateMix(ctx context.Context, s streams, args []string, f calibrateFlags) error {
	u, err := understand(args[1:])
	if err != nil {
		return err
	}
	id := garden.MixID(args[0])
	mix, ok := u.garden.Mix(id)
	if !ok {
		var names []string
		for _, m := range u.garden.Mixes {
			names = append(names, string(m.ID))
		}
		return wrongUse{fmt.Errorf("%s has no mix %q, expected one of %s", u.name, id, strings.Join(names, ", "))}
	}
	out := f.outName(u, id, len(args) > 1)
	if f.points != "" {
		if f.method != "" || len(f.probes) > 0 {
			return wrongUse{errors.New("--points needs neither --method nor --probe: the table says it all")}
		}
		points, drained, err := f.readPoints()
		if err != nil {
			return err
		}
		return f.finish(s, u, mix, out, points, drained, "points of "+filepath.Base(f.points))
	}
	// Two sessions would read one probe and write one file.
	lock, err := socket.Listen(f.socket)
	if err != nil {
		return fmt.Errorf("the hardware is in use: %w", err)
	}
	defer lock.Close()
	return f.session(ctx, s, u, mix, out)
}

func (f calibrateFlags) outName(u *understood, id garden.MixID, named bool) string {
	switch {
	case f.out != "":
		return f.out
	case named:
		return filepath.Join(filepath.Dir(u.name), string(id)+".calibration.yaml")
	}
	return string(id) + ".calibration.yaml" // the example lies inside the program
}

// readPoints reads a table. drained is the first weighing's water, where the
// container's height says that it is to be carried over.
func (f calibrateFlags) readPoints() ([]calibrate.Point, *drainedTub, error) {
	file, err := os.Open(f.points)
	if err != nil {
		return nil, nil, fmt.Errorf("calibration points: %w", err)
	}
	defer file.Close()
	kind, rows, err := calibrate.ReadTable(file, f.points)
	if err != nil {
		return nil, nil, err
	}
	need := func(what string, m garden.Measured) error {
		if !m.Known {
			return wrongUse{fmt.Errorf("%s has a column %s, which needs --%s", f.points, kind, what)}
		}
		return nil
	}
	progress := progress{Method: methodPoints}
	switch kind {
	case calibrate.TableWeight:
		progress.Method = methodWeight
		if err := errors.Join(need("tare", f.tare), need("dry", f.dry), need("volume", f.volume)); err != nil {
			return nil, nil, wrongUse{err}
		}
		progress.Container = calibrate.Container{TareG: f.tare.Value, DryG: f.dry.Value, VolumeL: f.volume.Value}
		progress.HeightCM = f.height.Or(0)
	case calibrate.TableAdded:
		progress.Method = methodBucket
		if err := need("volume", f.volume); err != nil {
			return nil, nil, err
		}
		progress.Bucket = calibrate.Bucket{MixL: f.volume.Value, StartL: f.start.Or(0)}
		for i := range rows {
			rows[i].Value /= 1000
		}
	}
	for _, r := range rows {
		progress.Rows = append(progress.Rows, entry{Probe: r.Probe, Volts: r.Volts, Value: r.Value, TempC: r.TempC})
	}
	points, err := progress.points()
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %w", f.points, err)
	}
	return points, progress.drained(), nil
}

// finish draws the curve, shows it and writes it.
func (f calibrateFlags) finish(s streams, u *understood, mix *garden.Mix, out string, points []calibrate.Point, tub *drainedTub, how string) error {
	fit, err := calibrate.Choose(points)
	if err != nil {
		return err
	}
	if err := showFit(s.out, fit); err != nil {
		return err
	}
	if tub != nil {
		if err := tub.show(s.out, u, mix); err != nil {
			return err
		}
	}
	if f.svg != "" {
		svg, err := drawFit(fit, mix.Name)
		if err == nil {
			err = os.WriteFile(f.svg, svg, 0o644)
		}
		if err != nil {
			return fmt.Errorf("drawing: %w", err)
		}
		fmt.Fprintln(s.err, "drawn:", f.svg)
	}
	kept, err := writeCalibration(out, fit, mix.ID, how)
	if err != nil {
		return err
	}
	fmt.Fprintln(s.err, "written:", out)
	if kept != "" {
		fmt.Fprintln(s.err, "the old one is kept:", kept)
	}
	fmt.Fprintf(s.err, "Name it in the garden file, in place of what stands there now:\n  mixes:\n    %s:\n      calibration: { file: %s }\n", mix.ID, filepath.Base(out))
	return nil
}

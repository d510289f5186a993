package main

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"time"

	"fabricpot/cmd/gateway/internal/socket"
	"fabricpot/control/garden"
	"fabricpot/control/medium"
	"fabricpot/sensors/calibrate"

	"github.com/spf13/cobra"
)

type anchorFlags struct {
	standFlags
	undo bool
}

func newAnchor(s streams) *cobra.Command {
	var f anchorFlags
	cmd := &cobra.Command{
		Use:   "anchor PROBE [FILE]",
		Short: "Correct a probe where it stands, after a deep soak and drainage",
		Long: `anchor is the field check. After a pot was soaked until water ran out below and
then drained (six hours, or until dawn), the probe should read what the drained
pot holds at its depth. The difference is offered as a correction of the probe's
offset; it is bounded, noted in the calibration file and in the journal, and taken
back by --undo. No gateway may run meanwhile; the next start reads the new file.

The garden file must name a calibration file for the pot's mix.`,
		Args: usage(cobra.RangeArgs(1, 2)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return anchor(cmd.Context(), s, args, f)
		},
	}
	cmd.Flags().BoolVar(&f.undo, "undo", false, "take the last correction back")
	f.add(cmd)
	return cmd
}

func anchor(ctx context.Context, s streams, args []string, f anchorFlags) error {
	u, err := understand(args[1:])
	if err != nil {
		return err
	}
	id := garden.ProbeID(args[0])
	var probe garden.Probe
	var pot *garden.Pot
	index := -1
	n := 0
	u.garden.EachZone(func(p *garden.Pot, z *garden.Zone) {
		for _, pr := range z.Probes {
			if pr.ID == id {
				probe, pot, index = pr, p, n
			}
			n++
		}
	})
	if index < 0 {
		return wrongUse{fmt.Errorf("%s has no probe %q", u.name, id)}
	}
	cal := u.garden.CalibrationFor(pot, &probe)
	if cal.File == "" {
		return fmt.Errorf("probe %s: its calibration stands in the garden file itself; run 'gateway calibrate %s' first, so that corrections have a file of their own", id, pot.Mix)
	}
	comment, err := readComment(cal.File)
	if err != nil {
		return err
	}
	mix, _ := u.garden.Mix(pot.Mix)
	file := mix.Calibration
	if probe.Calibration.File != "" {
		file = probe.Calibration
		file.OffsetWater = cal.OffsetWater - cal.ProbeOffsets[id]
	}
	if err := f.hardwareOf(u); err != nil {
		return err
	}
	if f.undo {
		lock, err := socket.Listen(f.socket)
		if err != nil {
			return fmt.Errorf("the hardware is in use: %w", err)
		}
		defer lock.Close()
		a, ok := lastAnchor(comment, id)
		if !ok {
			return fmt.Errorf("%s tells of no correction of probe %s", cal.File, id)
		}
		a.Before, a.After = cal.ProbeOffsets[id], a.Before
		return f.write(s, u, probe.Zone, file, comment, a, "taken back")
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	ask := newAsker(ctx, s, f.patience)
	f.startCM, f.offsetV = 0, 0.04
	st, err := openStand(s, u, f.standFlags)
	if err != nil {
		return err
	}
	defer st.Close()
	drained, err := ask.yes(ctx, "Was the pot soaked until water ran out below, and has it drained for six hours or more?", map[bool]string{true: "yes"}[st.bench != nil])
	if err != nil {
		return err
	}
	if !drained {
		return fmt.Errorf("%w: soak it, let it drain, and come back", errDeclined)
	}
	a, err := st.anchorOf(u, probe, index, cal)
	if err != nil {
		return err
	}
	if a.After == a.Before {
		fmt.Fprintf(s.out, "probe %s reads %.1f %% where %.1f %% is expected: nothing to correct\n", id, 100*float64(a.Read), 100*float64(a.Expected))
		if _, noted := cal.ProbeOffsets[id]; noted {
			return nil
		}
		// That it was compared is worth a note, or check asks for it for ever.
		return f.write(s, u, probe.Zone, file, comment, a, "anchored")
	}
	fmt.Fprintln(s.out, a)
	ok, err := ask.yes(ctx, "Correct it so?", "")
	if err != nil {
		return err
	}
	if !ok {
		return errDeclined
	}
	return f.write(s, u, probe.Zone, file, comment, a, "anchored")
}

// anchorOf reads the probe and compares it with what the drained pot holds at
// its depth.
func (st *stand) anchorOf(u *understood, probe garden.Probe, index int, cal garden.Calibration) (calibrate.Anchor, error) {
	got, err := st.look(index, probe)
	if err != nil {
		return calibrate.Anchor{}, err
	}
	r := garden.Reading{Probe: probe.ID, Water: got.Water, Quality: garden.Good}
	if bad := got.fault(); bad != "" || !got.Calibrated {
		return calibrate.Anchor{}, fmt.Errorf("probe %s reads %.3f V: %s", probe.ID, float64(got.Volts), bad)
	}
	pot, zone, _ := u.garden.Zone(probe.Zone)
	mix, _ := u.garden.Mix(pot.Mix)
	curve, err := medium.NewCurve(mix.Retention)
	if err != nil {
		return calibrate.Anchor{}, err
	}
	profile, err := medium.NewProfile(curve, pot.Shape, pot.Shape.HeightCM-probe.DepthCM)
	if err != nil {
		return calibrate.Anchor{}, err
	}
	expected := profile.AtCapacity()
	if zone.Capacity.Known {
		expected = profile.AtProbe(garden.WaterFraction(zone.Capacity.Value))
	}
	return calibrate.Reanchor(probe.ID, cal.ProbeOffsets[probe.ID], r, expected)
}

// write puts the probe's new offset into the calibration file and notes it there
// and in the journal.
func (f anchorFlags) write(s streams, u *understood, zone garden.ZoneID, c garden.Calibration, comment string, a calibrate.Anchor, what string) error {
	c.ProbeOffsets = maps.Clone(c.ProbeOffsets)
	if c.ProbeOffsets == nil {
		c.ProbeOffsets = map[garden.ProbeID]float64{}
	}
	c.ProbeOffsets[a.Probe] = a.After
	comment += fmt.Sprintf("# %s %s: probe %s: offset %+.5f to %+.5f\n", time.Now().Format(time.DateOnly), what, a.Probe, a.Before, a.After)
	kept, err := writeCurve(c.File, comment, c)
	if err != nil {
		return err
	}
	fmt.Fprintf(s.out, "probe %s: offset %+.2f points of water, %s in %s\n", a.Probe, 100*a.After, what, filepath.Base(c.File))
	fmt.Fprintln(s.err, "the old file is kept:", kept)
	text := fmt.Sprintf("%sprobe %s %s, offset %+.2f to %+.2f points of water", about(c.File), a.Probe, what, 100*a.Before, 100*a.After)
	if a.Expected > 0 {
		text += fmt.Sprintf("; it read %.1f %% where the drained pot holds %.1f %%", 100*float64(a.Read), 100*float64(a.Expected))
	}
	return f.enter(s, u, zone, anchorKind, 100*a.After, text)
}

// readComment is the comment a calibration file begins with.
func readComment(path string) (string, error) {
	src, err := os.ReadFile(path)
	if err != nil {
		return "", fmt.Errorf("calibration file: %w", err)
	}
	var b strings.Builder
	for _, line := range strings.SplitAfter(string(src), "\n") {
		if !strings.HasPrefix(line, "#") {
			break
		}
		b.WriteString(line)
	}
	return b.String(), nil
}

// lastAnchor is the last correction of a probe that was not taken back.
func lastAnchor(comment string, probe garden.ProbeID) (calibrate.Anchor, bool) {
	re := regexp.MustCompile(`(anchored|taken back): probe ` + regexp.QuoteMeta(string(probe)) + `: offset ([-+0-9.]+) to ([-+0-9.]+)`)
	var open []calibrate.Anchor
	for _, m := range re.FindAllStringSubmatch(comment, -1) {
		before, err1 := strconv.ParseFloat(m[2], 64)
		after, err2 := strconv.ParseFloat(m[3], 64)
		if errors.Join(err1, err2) != nil {
			continue
		}
		if m[1] == "anchored" {
			open = append(open, calibrate.Anchor{Probe: probe, Before: before, After: after})
		} else if len(open) > 0 {
			open = open[:len(open)-1]
		}
	}
	if len(open) == 0 {
		return calibrate.Anchor{}, false
	}
	return open[len(open)-1], true
}

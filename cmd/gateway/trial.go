package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"fabricpot/cmd/gateway/internal/season"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"
	"golang.org/x/term"
)

type trialFlags struct {
	quick, full bool
	seeds       int
	only        []string
	out         string
}

func newTrial(s streams) *cobra.Command {
	var f trialFlags
	cmd := &cobra.Command{
		Use:   "trial --out DIR",
		Short: "Compare the gateway with timers, a moisture switch, hands, and the ideal",
		Long: `trial runs whole seasons in the simulator under different policies: timers as
people set them, a moisture switch, a person with a can, a careful grower, the
gateway's own code, and the least water that could have done, by ledger. All get
the same pots, weather, seeds and valve limits. It writes tables and pictures to
DIR and keeps finished runs there: started again, it takes up where it stopped.

--quick takes a minute or two; --full tries four summers of two cities, pot sizes,
mixes, worse probes, uneven emitters and every fault on eight seeds.`,
		Example: `  gateway trial --out trial
  gateway trial --full --out trial-full
  gateway trial --full --only "large pots" --seeds 3 --out trial-large`,
		Args: usage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if f.quick && f.full {
				return wrongUse{fmt.Errorf("--quick and --full exclude each other")}
			}
			if f.out == "" {
				return wrongUse{fmt.Errorf("--out is missing: name a folder for tables and pictures")}
			}
			set := season.QuickTrial()
			if f.full {
				set = season.FullTrial()
			}
			switch {
			case f.seeds < 0 || f.seeds > 1000:
				return wrongUse{fmt.Errorf("--seeds %d: expected 1 to 1000", f.seeds)}
			case f.seeds > 0:
				set.Seeds = f.seeds
			}
			if len(f.only) > 0 {
				var err error
				if set, err = set.Only(f.only); err != nil {
					return wrongUse{fmt.Errorf("--only: %w", err)}
				}
			}
			return trial(cmd.Context(), s, set, f.out)
		},
	}
	fl := cmd.Flags()
	fl.BoolVar(&f.quick, "quick", false, "three seasons and every fault on few seeds; what happens if nothing is said")
	fl.BoolVar(&f.full, "full", false, "everything, on eight seeds; takes a while")
	fl.IntVar(&f.seeds, "seeds", 0, "run `N` seeds in place of the set's own number")
	fl.StringSliceVar(&f.only, "only", nil, "run only cases with one of these `WORDS` in their name")
	fl.StringVar(&f.out, "out", "", "folder `DIR` for tables, pictures and finished runs")
	return cmd
}

func trial(ctx context.Context, s streams, set season.TrialSet, dir string) error {
	program, err := programSum()
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("trial: %w", err)
	}
	bar := progressbar.DefaultSilent(int64(set.Runs()))
	if e, ok := s.err.(*os.File); ok && term.IsTerminal(int(e.Fd())) {
		bar = progressbar.NewOptions(set.Runs(), progressbar.OptionSetWriter(e), progressbar.OptionSetDescription("seasons"),
			progressbar.OptionShowCount(), progressbar.OptionClearOnFinish())
	}
	runs, err := season.Trials(ctx, set, season.TrialOptions{Dir: dir, Program: program, Done: func() { _ = bar.Add(1) }})
	_ = bar.Finish()
	if err != nil {
		return err
	}
	return publishTrial(s.out, set, runs, dir)
}

// publishTrial prints the table and writes everything to dir.
func publishTrial(out io.Writer, set season.TrialSet, runs []season.TrialRun, dir string) error {
	rows := season.Rows(set, runs)
	write := func(name string, make func(io.Writer) error) error {
		f, err := os.Create(filepath.Join(dir, name))
		if err != nil {
			return fmt.Errorf("trial: %w", err)
		}
		err = make(f)
		if e := f.Close(); err == nil {
			err = e
		}
		if errors.Is(err, season.ErrNothingToDraw) {
			_ = os.Remove(f.Name()) // with --only there may be no such case
		}
		if err != nil {
			return fmt.Errorf("trial: %s: %w", name, err)
		}
		return nil
	}
	table := func(w io.Writer) error { return season.WriteTrialTable(w, set, rows) }
	picture := func(draw func() ([]byte, error)) func(io.Writer) error {
		return func(w io.Writer) error {
			svg, err := draw()
			if err == nil {
				_, err = w.Write(svg)
			}
			return err
		}
	}
	for _, f := range []struct {
		name string
		make func(io.Writer) error
	}{
		{"trial.txt", table},
		{"trial.csv", func(w io.Writer) error { return season.WriteTrialCSV(w, rows) }},
		{"trial.json", func(w io.Writer) error { return season.WriteTrialJSON(w, set, rows, runs) }},
		{"water-against-stress.svg", picture(func() ([]byte, error) { return season.DrawAllSeasons(rows) })},
		{"season-of-a-pot.svg", picture(func() ([]byte, error) { return season.DrawCurves(set, runs) })},
		{"faults.svg", picture(func() ([]byte, error) { return season.DrawFaults(set, rows) })},
	} {
		if err := write(f.name, f.make); err != nil && !errors.Is(err, season.ErrNothingToDraw) {
			return err
		}
	}
	return table(out)
}

// programSum tells this program from any other, so that no figure of an older
// one is taken for its own.
func programSum() (string, error) {
	path, err := os.Executable()
	if err != nil {
		return "", fmt.Errorf("trial: which program is this: %w", err)
	}
	f, err := os.Open(path)
	if err != nil {
		return "", fmt.Errorf("trial: %w", err)
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", fmt.Errorf("trial: %s: %w", path, err)
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/page"
	"fabricpot/cmd/gateway/internal/place"
	"fabricpot/cmd/gateway/internal/report"
	"fabricpot/cmd/gateway/internal/season"
	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control/garden"

	"github.com/spf13/cobra"
)

// seasonFlags say what of which journal is meant.
type seasonFlags struct {
	from, to, journal, out string
}

func (f *seasonFlags) on(cmd *cobra.Command, out string) {
	fl := cmd.Flags()
	fl.StringVar(&f.from, "from", "", "first `DATE`, as 2026-05-01; none: the journal's first day")
	fl.StringVar(&f.to, "to", "", "last `DATE`, included; none: the journal's last day")
	fl.StringVar(&f.journal, "journal", "", "journal `FILE`; none: the garden file's, or the usual place")
	fl.StringVar(&f.out, "out", out, "`FILE` to write; - for standard output")
}

func newReport(s streams) *cobra.Command {
	var f seasonFlags
	cmd := &cobra.Command{
		Use:   "report [FILE]",
		Short: "Write the season as one HTML file",
		Long: `report reads the journal of the garden of FILE and writes one HTML file that
needs nothing else: per pot the season's curve, water and feed totals, what was
lost, how long it stood too dry or too wet, alarms, what you did, and in words
what to change next season, each with its figure.

The journal is only read, so a gateway may be running. A season that was
simulated with --journal is read the same way; 'simulate --report' adds what the
simulator alone knows.`,
		Example: `  gateway report my-terrace.yaml --from 2026-05-01 --to 2026-09-30 --out season.html
  gateway simulate --journal trial.db && gateway report --journal trial.db`,
		Args: usage(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			b, source, as, err := f.read(s, args)
			if err != nil {
				return err
			}
			err = writeOut(s, f.out, func(w io.Writer) error { return page.WriteReport(cmd.Context(), w, b, source, as) })
			if err == nil {
				fmt.Fprintf(s.err, "%s: %d pots, %s to %s, from %s\n", f.out, len(b.Zones),
					b.From.Format(time.DateOnly), b.To.AddDate(0, 0, -1).Format(time.DateOnly), source)
			}
			return err
		},
	}
	f.on(cmd, "season.html")
	return cmd
}

func newExport(s streams) *cobra.Command {
	var f seasonFlags
	var format string
	var every time.Duration
	var pots []string
	cmd := &cobra.Command{
		Use:   "export [FILE]",
		Short: "Write the season's figures for a spreadsheet",
		Long: `export reads the journal of the garden of FILE and writes a row for each pot and
step of time: water in the mix with its least, most and standard deviation, the
refill point, litres by line and by hand, litres of feed, rain, and what you did or
noted then, corrections of a probe among it. Water is a fraction of the mix's
volume; what is not known is empty.

The journal is only read, so a gateway may be running.`,
		Example: `  gateway export my-terrace.yaml --from 2026-05-01 --format csv > season.csv
  gateway export --pot chilli --every 24h --format json --out chilli.json`,
		Args: usage(cobra.MaximumNArgs(1)),
		RunE: func(_ *cobra.Command, args []string) error {
			if format != "csv" && format != "json" {
				return wrongUse{fmt.Errorf("--format %q: expected csv or json", format)}
			}
			if every < 15*time.Minute || every > 31*24*time.Hour {
				return wrongUse{fmt.Errorf("--every %v: expected 15m to 31d", every)}
			}
			b, _, _, err := f.read(s, args)
			if err != nil {
				return err
			}
			if err := onlyPots(b, pots); err != nil {
				return err
			}
			rows := b.Rows(every)
			return writeOut(s, f.out, func(w io.Writer) error {
				if format == "json" {
					return report.WriteJSON(w, b, rows)
				}
				return report.WriteCSV(w, rows)
			})
		},
	}
	f.on(cmd, "-")
	cmd.Flags().StringVar(&format, "format", "csv", "`csv` or json")
	spanVar(cmd.Flags(), &every, "every", time.Hour, "length of a step, 15m to 31d")
	cmd.Flags().StringArrayVar(&pots, "pot", nil, "only this `POT`; may be given again")
	return cmd
}

// onlyPots leaves the pots, or zones of pots, that were named.
func onlyPots(b *report.Book, pots []string) error {
	if len(pots) == 0 {
		return nil
	}
	var kept []report.Zone
	for _, name := range pots {
		found := false
		for _, z := range b.Zones {
			if string(z.ID) == name {
				kept, found = append(kept, z), true
			}
		}
		if !found {
			names := make([]string, 0, len(b.Zones))
			for _, z := range b.Zones {
				names = append(names, string(z.ID))
			}
			return wrongUse{fmt.Errorf("--pot %s: there is no such pot; there are %s", name, strings.Join(names, ", "))}
		}
	}
	b.Zones = kept
	return nil
}

// read reads the season meant by the flags.
func (f *seasonFlags) read(s streams, args []string) (b *report.Book, source string, as units.Reads, err error) {
	u, err := understand(args)
	if err != nil {
		return nil, "", as, err
	}
	u.printWarnings(s.err)
	zone := u.garden.Site.Zone
	from, err := dateFlag("--from", f.from, time.Time{}, zone)
	if err != nil {
		return nil, "", as, err
	}
	to, err := dateFlag("--to", f.to, time.Time{}, zone)
	if err != nil {
		return nil, "", as, err
	}
	if !from.IsZero() && !to.IsZero() && to.Before(from) {
		return nil, "", as, wrongUse{fmt.Errorf("--to %s lies before --from %s", f.to, f.from)}
	}
	path := f.journal
	if path == "" && u.garden.JournalFile != "" {
		path = u.garden.JournalFile
	}
	if path == "" {
		if path, err = journalPath("", ""); err != nil {
			return nil, "", as, err
		}
	}
	j, err := journal.OpenReader(path)
	if err != nil {
		if errors.Is(err, os.ErrNotExist) {
			err = fmt.Errorf("%w; name the journal with --journal", err)
		}
		return nil, "", as, err
	}
	defer j.Close()
	if from, to, err = report.Days(j, from, to, zone); err == nil {
		b, err = report.Read(j, u.garden, u.plan, from, to)
	}
	if journal.Damaged(err) {
		return nil, "", as, fmt.Errorf("the journal %s is damaged: %w; name a backup of it with --journal", path, err)
	}
	if err != nil {
		return nil, "", as, err
	}
	if len(b.Strangers) > 0 {
		fmt.Fprintf(s.err, "warning: the journal also has samples of %v, which %s does not know: name the garden file it belongs to\n", b.Strangers, u.name)
	}
	return b, "the journal " + filepath.Base(path), u.source.Reads, nil
}

// writeOut writes a file whole or not at all; "-" is standard output.
func writeOut(s streams, path string, write func(io.Writer) error) error {
	if path == "-" {
		return write(s.out)
	}
	// It is meant to be shown to others.
	return place.File(path, 0o644, func(f *os.File) error { return write(f) })
}

// writeSimulated writes the report of a season just simulated.
func writeSimulated(ctx context.Context, s streams, out string, j *journal.Journal, b *season.Bench, res season.Result, from, to time.Time, as units.Reads) error {
	g := b.Garden
	from, to, err := report.Days(j, from, to, g.Site.Zone)
	if err != nil {
		return err
	}
	book, err := report.Read(j, g, b.Plan, from, to)
	if err != nil {
		return err
	}
	book.Simulate(res)
	err = writeOut(s, out, func(w io.Writer) error {
		return page.WriteReport(ctx, w, book, fmt.Sprintf("simulated, seed %d", res.Seed), as)
	})
	if err == nil {
		fmt.Fprintln(s.err, "report:", out)
	}
	return err
}

// seasonSoFar is what the page shows of the running season.
func seasonSoFar(kept func() *understood, j *journal.Journal) func(now time.Time) (*report.Book, error) {
	return func(now time.Time) (*report.Book, error) {
		u := kept()
		first, _, ok, err := j.Span()
		if err != nil || !ok {
			return nil, errors.Join(err, report.ErrNothing)
		}
		// Ten years of a journal are no season: the last year is.
		from := now.AddDate(-1, 0, 1)
		if first.After(from) {
			from = first
		}
		from, to, err := report.Days(j, day(from, u.garden), day(now, u.garden), u.garden.Site.Zone)
		if err != nil {
			return nil, err
		}
		return report.Read(j, u.garden, u.plan, from, to)
	}
}

func day(t time.Time, g *garden.Garden) time.Time {
	y, m, d := t.In(g.Site.Zone).Date()
	return time.Date(y, m, d, 0, 0, 0, 0, g.Site.Zone)
}

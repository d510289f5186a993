package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/cmd/gateway/internal/season"
	"fabricpot/control/garden"
	"fabricpot/control/weather"
	"fabricpot/sim/terrace"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"
	"golang.org/x/term"
)

type simulateFlags struct {
	weather, from, to, journal, report string
	seed                               uint64
	json                               bool
	faults                             faultFlags
}

func newSimulate(s streams) *cobra.Command {
	var f simulateFlags
	cmd := &cobra.Command{
		Use:   "simulate [FILE]",
		Short: "Run a season against the simulator in seconds",
		Long: `simulate runs the gateway's own code - drivers, controller, guard - against a
simulated terrace: soil columns, roots, weather and valves. It ends with a table
of what each zone got, lost and missed.

Weather is a CSV with the columns date, precipitation (mm), temp_max, temp_min
(°C) and wind (m/s), a row per day; or time, temp, rh (%), wind, solar (MJ/m²)
and precipitation, a row per hour. Without one the bench's invented climate is
used. One seed gives one season, byte for byte.

With --faults it plays a campaign instead: random terraces on which probes,
valves, pipes, clocks and cards go wrong and the gateway is killed, each judged
by what a garden is promised. It ends with what was seen and how soon, and fails
(exit 1) if a promise was broken; an alarm in a run in which nothing went wrong, as
in all of --clean, is one.`,
		Example: `  gateway simulate --weather testdata/weather/seattle-weather.csv \
      --from 2014-05-01 --to 2014-09-30
  gateway simulate my-terrace.yaml --from 2026-06-01 --to 2026-08-31 --seed 7 --json
  gateway simulate --faults --seeds 20`,
		Args: usage(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := f.faults.misplaced(cmd.Flags()); err != nil {
				return err
			}
			if f.faults.on {
				return simulateFaults(cmd.Context(), s, args, f)
			}
			return simulate(cmd.Context(), s, args, f)
		},
	}
	fl := cmd.Flags()
	fl.StringVar(&f.weather, "weather", "", "weather by the day or the hour, a `CSV` file; none: an invented Mediterranean year")
	fl.StringVar(&f.from, "from", "", "first `DATE`, as 2014-05-01; none: the weather's first day, or 1 May")
	fl.StringVar(&f.to, "to", "", "last `DATE`, included; none: the weather's last day, or 30 September")
	fl.Uint64Var(&f.seed, "seed", 1, "what chance depends on; the same `N` gives the same season")
	fl.BoolVar(&f.json, "json", false, "print one JSON object in place of the table")
	fl.StringVar(&f.journal, "journal", "", "keep a journal of the season in this new `FILE`")
	f.faults.flags(fl)
	fl.StringVar(&f.report, "report", "", "write the season as one HTML `FILE`, with what the simulator alone knows")
	return cmd
}

func simulate(ctx context.Context, s streams, args []string, f simulateFlags) error {
	u, err := understand(args)
	if err != nil {
		return err
	}
	u.printWarnings(s.err)
	g := u.garden
	if g.Hardware.Kind != garden.Bench {
		// The same pots and lines, without the board they hang on.
		g.Hardware.Kind = garden.Bench
		fmt.Fprintln(s.err, "simulated: the board of", u.name, "is not touched")
	}
	rows, from, to, err := f.span(s, g.Site.Zone)
	if err != nil {
		return err
	}
	o := season.Options{Seed: f.seed, Start: from, Weather: rows, Terrace: terrace.DefaultOptions(f.seed, nil)}
	var keeper *runner.Keeper
	if f.journal == "" && f.report != "" {
		// A report is made from a journal; this one is nobody's.
		dir, err := os.MkdirTemp("", "fabricpot-season-")
		if err != nil {
			return err
		}
		defer os.RemoveAll(dir)
		f.journal = filepath.Join(dir, "journal.db")
	}
	if f.journal != "" {
		if _, err := os.Stat(f.journal); err == nil {
			return wrongUse{fmt.Errorf("--journal %s exists already; a season gets a journal of its own", f.journal)}
		}
		j, _, err := journal.Open(f.journal)
		if err != nil {
			return err
		}
		keeper = runner.NewKeeper(j)
		defer keeper.Close()
		o.Journal, o.JournalPath = keeper, f.journal
	}
	b, err := season.NewBench(g, o)
	if err != nil {
		return err
	}
	days := daysBetween(from, to)
	bar := dayBar(s, days)
	res, err := b.Season(ctx, days, func() { _ = bar.Add(1) })
	_ = bar.Finish()
	if err != nil {
		return err
	}
	res.Seed = f.seed
	if f.report != "" {
		if err := keeper.Write(); err != nil {
			return err
		}
		if err := writeSimulated(ctx, s, f.report, keeper.Journal, b, res, from, to, u.source.Reads); err != nil {
			return err
		}
	}
	if f.json {
		return res.WriteJSON(s.out)
	}
	return res.WriteTable(s.out)
}

// span settles weather and dates. Both dates are midnights in the zone.
func (f simulateFlags) span(s streams, zone *time.Location) (rows []garden.DayWeather, from, to time.Time, err error) {
	if f.weather != "" {
		file, err := os.Open(f.weather)
		if err != nil {
			return nil, from, to, fmt.Errorf("weather: %w", err)
		}
		defer file.Close()
		var warnings []string
		rows, warnings, err = weather.ReadDays(file, f.weather, zone)
		if err != nil {
			return nil, from, to, err
		}
		for _, w := range warnings {
			fmt.Fprintln(s.err, "warning:", w)
		}
		from, to = rows[0].Date, rows[len(rows)-1].Date
	} else {
		year := time.Now().Year()
		from = time.Date(year, time.May, 1, 0, 0, 0, 0, zone)
		to = time.Date(year, time.September, 30, 0, 0, 0, 0, zone)
	}
	if from, err = dateFlag("--from", f.from, from, zone); err != nil {
		return nil, from, to, err
	}
	if to, err = dateFlag("--to", f.to, to, zone); err != nil {
		return nil, from, to, err
	}
	if to.Before(from) {
		return nil, from, to, wrongUse{fmt.Errorf("--to %s lies before --from %s", to.Format(time.DateOnly), from.Format(time.DateOnly))}
	}
	if daysBetween(from, to) > 3660 {
		return nil, from, to, wrongUse{fmt.Errorf("%s to %s is more than ten years", from.Format(time.DateOnly), to.Format(time.DateOnly))}
	}
	if f.weather == "" {
		rows = season.Climate(f.seed, from, daysBetween(from, to)+2)
	}
	if day, ok := season.Covered(rows, from, to); !ok {
		return nil, from, to, wrongUse{fmt.Errorf("%s has no row for %s; it reaches from %s to %s", f.weather, day.Format(time.DateOnly),
			rows[0].Date.Format(time.DateOnly), rows[len(rows)-1].Date.Format(time.DateOnly))}
	}
	return rows, from, to, nil
}

func dateFlag(name, value string, otherwise time.Time, zone *time.Location) (time.Time, error) {
	if value == "" {
		return otherwise, nil
	}
	t, err := time.ParseInLocation(time.DateOnly, value, zone)
	if err != nil {
		return t, wrongUse{fmt.Errorf("%s %q: expected a date such as 2014-05-01", name, value)}
	}
	return t, nil
}

// daysBetween counts civil days, both ends included.
func daysBetween(from, to time.Time) int {
	n := 0
	for d := from; !d.After(to) && n < 5000; d = d.AddDate(0, 0, 1) {
		n++
	}
	return n
}

// dayBar is a progress bar on a terminal and nothing elsewhere.
func dayBar(s streams, days int) *progressbar.ProgressBar { return barOf(s, days, "days") }

func barOf(s streams, days int, of string) *progressbar.ProgressBar {
	f, ok := s.err.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return progressbar.DefaultSilent(int64(days))
	}
	return progressbar.NewOptions(days,
		progressbar.OptionSetWriter(f), progressbar.OptionSetDescription(of),
		progressbar.OptionShowCount(), progressbar.OptionClearOnFinish())
}

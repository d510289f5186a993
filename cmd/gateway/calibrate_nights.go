package main

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/socket"
	"fabricpot/control/garden"
	"fabricpot/sensors/calibrate"

	"github.com/spf13/cobra"
)

type nightsFlags struct {
	standFlags
	readings string
	days     int
}

func newNights(s streams) *cobra.Command {
	var f nightsFlags
	cmd := &cobra.Command{
		Use:   "nights PROBE [FILE]",
		Short: "Learn what temperature does to a probe, from nights without water",
		Long: `nights looks for the apparent change of a probe's water with the mix temperature,
in the journal of the garden of FILE: the probe's good readings from 22:00 to 06:00
on the garden's clock that have a mix temperature beside them. Nights into which
water came, by line, by hand or as rain, or in the six hours before, are left out.
The journal is only read, so a gateway may be running until something is written.

With --readings a table is read instead: columns time (RFC 3339, such as
2026-07-01T23:10:00+03:00), water (fraction) and temperature (°C); leave out nights
with watering or rain yourself.

Published coefficients disagree even on the sign, so the default is none. What is
found is shown with its error first, and written into the calibration file of the
probe's mix, and noted in the journal, only if you say so.`,
		Example: `  gateway calibrate nights chilli-middle my-terrace.yaml
  gateway calibrate nights chilli-middle my-terrace.yaml --readings july.csv`,
		Args: usage(cobra.RangeArgs(1, 2)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if f.days < 5 || f.days > 400 {
				return wrongUse{fmt.Errorf("--days %d: expected 5 to 400", f.days)}
			}
			if f.readings != "" && cmd.Flags().Changed("days") {
				return wrongUse{errors.New("--readings is a table of its own: leave out --days")}
			}
			return nightsOf(cmd.Context(), s, args, f)
		},
	}
	cmd.Flags().StringVar(&f.readings, "readings", "", "time, water and temperature, a `CSV` file; none: the journal")
	cmd.Flags().IntVar(&f.days, "days", 60, "how many `DAYS` of the journal, up to its last, are looked at")
	f.add(cmd)
	return cmd
}

func nightsOf(ctx context.Context, s streams, args []string, f nightsFlags) error {
	u, err := understand(args[1:])
	if err != nil {
		return err
	}
	if err := f.hardwareOf(u); err != nil {
		return err
	}
	id := garden.ProbeID(args[0])
	var cal garden.Calibration
	var probe garden.Probe
	u.garden.EachZone(func(p *garden.Pot, z *garden.Zone) {
		for _, pr := range z.Probes {
			if pr.ID == id {
				probe = pr
				if cal = pr.Calibration; cal.Kind == garden.NoCurve {
					m, _ := u.garden.Mix(p.Mix)
					cal = m.Calibration
				}
			}
		}
	})
	if probe.ID == "" {
		return wrongUse{fmt.Errorf("%s has no probe %q", u.name, id)}
	}
	nights, err := f.nights(s, u, probe, cal.File)
	if err != nil {
		return err
	}
	c, err := calibrate.LearnTemperature(nights)
	if err != nil {
		return fmt.Errorf("probe %s: %w", id, err)
	}
	fmt.Fprintf(s.out, "probe %s: %+.3f ± %.3f points of water per °C, from %d nights of %.1f °C\n", id, 100*c.PerC, 100*c.StdErr, c.Nights, c.SpanC)
	// The readings were already corrected by the coefficient there was.
	after := cal.TempCoeff + c.PerC
	if cal.TempCoeff != 0 {
		fmt.Fprintf(s.out, "that is beside the %+.3f it is corrected by now: %+.3f together\n", 100*cal.TempCoeff, 100*after)
	}
	if cal.File == "" {
		fmt.Fprintf(s.err, "to use it, put temperature-coefficient: %.4f %%/°C into the calibration\n", 100*after)
		return nil
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	ok, err := newAsker(ctx, s, f.patience).yes(ctx, fmt.Sprintf("Write it into %s, for every probe of it?", cal.File), "no")
	if err != nil || !ok {
		return err
	}
	lock, err := socket.Listen(f.socket)
	if err != nil {
		return fmt.Errorf("nothing was written: %w", err)
	}
	defer lock.Close()
	comment, err := readComment(cal.File)
	if err != nil {
		return err
	}
	comment += fmt.Sprintf("# %s temperature: %+.5f to %+.5f per °C, from probe %s\n", time.Now().Format(time.DateOnly), cal.TempCoeff, after, id)
	before := cal.TempCoeff
	cal.TempCoeff = after
	kept, err := writeCurve(cal.File, comment, cal)
	if err != nil {
		return err
	}
	fmt.Fprintln(s.err, "written:", cal.File+"; the old one is kept:", kept)
	text := fmt.Sprintf("%s%+.3f to %+.3f points of water per °C, from %d nights of probe %s", about(cal.File), 100*before, 100*after, c.Nights, id)
	return f.enter(s, u, probe.Zone, coefficientKind, 100*after, text)
}

// nights are those of the table, or those of the journal without water.
func (f nightsFlags) nights(s streams, u *understood, probe garden.Probe, file string) ([]calibrate.Night, error) {
	if f.readings != "" {
		table, err := os.Open(f.readings)
		if err != nil {
			return nil, fmt.Errorf("readings: %w", err)
		}
		defer table.Close()
		return readNights(table, f.readings, u.garden.Site.Zone)
	}
	where := workFlags{journal: f.journal}
	path, err := where.journalPath(u)
	if err != nil {
		return nil, errors.New("a bench keeps no journal: name one with --journal, such as what 'gateway simulate --journal' writes, or a table with --readings")
	}
	j, err := journal.OpenReader(path)
	if err != nil {
		return nil, err
	}
	defer j.Close()
	_, last, ok, err := j.Span()
	if err != nil {
		return nil, err
	}
	if !ok {
		return nil, fmt.Errorf("the journal %s has no samples yet", path)
	}
	from := last.AddDate(0, 0, -f.days)
	if file != "" {
		if from, err = coefficientSince(j, file, from); err != nil {
			return nil, err
		}
	}
	nights, wet, err := dryNights(j, u.garden, probe, from, last)
	if err != nil {
		return nil, err
	}
	fmt.Fprintf(s.err, "%s: %d nights without water with a mix temperature since %s, %d with water left out\n", path, len(nights), from.In(u.garden.Site.Zone).Format(time.DateOnly), wet)
	if len(nights)+wet == 0 {
		return nil, fmt.Errorf("probe %s: the journal has no good reading of a night with a mix temperature: its zone needs a thermometer", probe.ID)
	}
	return nights, nil
}

// Bounds of a table of readings: a summer, every minute.
const maxReadings = 300_000

// readNights reads a table and splits it into nights.
func readNights(r io.Reader, name string, zone *time.Location) ([]calibrate.Night, error) {
	cr := csv.NewReader(r)
	cr.Comment, cr.TrimLeadingSpace, cr.ReuseRecord = '#', true, true
	head, err := cr.Read()
	if err != nil {
		return nil, fmt.Errorf("%s:1:1: expected a first line time,water,temperature", name)
	}
	at := map[string]int{}
	for i, h := range head {
		at[strings.ToLower(strings.TrimSpace(h))] = i
	}
	for _, want := range []string{"time", "water", "temperature"} {
		if _, ok := at[want]; !ok {
			return nil, fmt.Errorf("%s:1:1: no column %s", name, want)
		}
	}
	split := nightSplit{zone: zone}
	var last time.Time
	for n := 0; ; n++ {
		rec, err := cr.Read()
		if errors.Is(err, io.EOF) {
			return split.nights, nil
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		line, _ := cr.FieldPos(0)
		if n == maxReadings {
			return nil, fmt.Errorf("%s:%d:1: more than %d readings", name, line, maxReadings)
		}
		when, err1 := time.Parse(time.RFC3339, strings.TrimSpace(rec[at["time"]]))
		water, err2 := strconv.ParseFloat(strings.TrimSpace(rec[at["water"]]), 64)
		temp, err3 := strconv.ParseFloat(strings.TrimSpace(rec[at["temperature"]]), 64)
		switch {
		case errors.Join(err1, err2, err3) != nil:
			return nil, fmt.Errorf("%s:%d:1: %w", name, line, errors.Join(err1, err2, err3))
		case !(water >= 0 && water <= 1):
			return nil, fmt.Errorf("%s:%d:1: water %g, expected 0 to 1 (35 %% is 0.35)", name, line, water)
		case !(temp >= -20 && temp <= 70):
			return nil, fmt.Errorf("%s:%d:1: temperature %g, expected -20 to 70", name, line, temp)
		case !when.After(last):
			return nil, fmt.Errorf("%s:%d:1: %s does not come after the row before", name, line, when.Format(time.RFC3339))
		}
		last = when
		split.add(calibrate.NightSample{At: when, Water: garden.WaterFraction(water), TempC: temp})
	}
}

// nightEnds is when a night is over, after midnight; it begins at 22:00.
const nightEnds = 6 * time.Hour

// nightSplit sorts samples in order of time into nights and drops the days.
type nightSplit struct {
	zone   *time.Location
	nights []calibrate.Night
	last   string
}

func (n *nightSplit) add(s calibrate.NightSample) {
	local := s.At.In(n.zone)
	if h := time.Duration(local.Hour()) * time.Hour; h >= nightEnds && local.Hour() < 22 {
		return
	}
	// A night carries the date of its evening.
	if night := local.Add(-nightEnds).Format(time.DateOnly); night != n.last {
		n.nights, n.last = append(n.nights, nil), night
	}
	n.nights[len(n.nights)-1] = append(n.nights[len(n.nights)-1], s)
}

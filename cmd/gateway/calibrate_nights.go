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

	"fabricpot/control/garden"
	"fabricpot/sensors/calibrate"

	"github.com/spf13/cobra"
)

type nightsFlags struct {
	readings string
	patience time.Duration
}

func newNights(s streams) *cobra.Command {
	var f nightsFlags
	cmd := &cobra.Command{
		Use:   "nights PROBE [FILE] --readings CSV",
		Short: "Learn what temperature does to a probe, from nights without water",
		Long: `nights looks for the apparent change of a probe's water with the mix temperature.
Its table has the columns time (RFC 3339, such as 2026-07-01T23:10:00+03:00),
water (fraction) and temperature (°C); leave out nights with watering or rain.
Readings from 22:00 to 06:00 on the garden's clock are used.

Published coefficients disagree even on the sign, so the default is none. What is
found is shown with its error first, and written into the calibration file of the
probe's mix only if you say so.`,
		Args: usage(cobra.RangeArgs(1, 2)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if f.readings == "" {
				return wrongUse{errors.New("--readings is missing")}
			}
			return nightsOf(cmd.Context(), s, args, f)
		},
	}
	cmd.Flags().StringVar(&f.readings, "readings", "", "time, water and temperature, a `CSV` file")
	cmd.Flags().DurationVar(&f.patience, "patience", patience, "how long to wait for an answer")
	return cmd
}

func nightsOf(ctx context.Context, s streams, args []string, f nightsFlags) error {
	u, err := understand(args[1:])
	if err != nil {
		return err
	}
	id := garden.ProbeID(args[0])
	var cal garden.Calibration
	var mix garden.MixID
	u.garden.EachZone(func(p *garden.Pot, z *garden.Zone) {
		for _, pr := range z.Probes {
			if pr.ID == id {
				mix = p.Mix
				if cal = pr.Calibration; cal.Kind == garden.NoCurve {
					m, _ := u.garden.Mix(p.Mix)
					cal = m.Calibration
				}
			}
		}
	})
	if mix == "" {
		return wrongUse{fmt.Errorf("%s has no probe %q", u.name, id)}
	}
	file, err := os.Open(f.readings)
	if err != nil {
		return fmt.Errorf("readings: %w", err)
	}
	defer file.Close()
	nights, err := readNights(file, f.readings, u.garden.Site.Zone)
	if err != nil {
		return err
	}
	c, err := calibrate.LearnTemperature(nights)
	if err != nil {
		return fmt.Errorf("probe %s: %w", id, err)
	}
	fmt.Fprintf(s.out, "probe %s: %+.3f ± %.3f points of water per °C, from %d nights of %.1f °C\n", id, 100*c.PerC, 100*c.StdErr, c.Nights, c.SpanC)
	if cal.File == "" {
		fmt.Fprintf(s.err, "to use it, put temperature-coefficient: %.4f %%/°C into the calibration\n", 100*c.PerC)
		return nil
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	ok, err := newAsker(ctx, s, f.patience).yes(ctx, fmt.Sprintf("Write it into %s, for every probe of it?", cal.File), "no")
	if err != nil || !ok {
		return err
	}
	comment, err := readComment(cal.File)
	if err != nil {
		return err
	}
	comment += fmt.Sprintf("# %s temperature: %+.5f to %+.5f per °C, from probe %s\n", time.Now().Format(time.DateOnly), cal.TempCoeff, cal.TempCoeff+c.PerC, id)
	// The readings were already corrected by the coefficient there was.
	cal.TempCoeff += c.PerC
	kept, err := writeCurve(cal.File, comment, cal)
	if err != nil {
		return err
	}
	fmt.Fprintln(s.err, "written:", cal.File+"; the old one is kept:", kept)
	return nil
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
	var nights []calibrate.Night
	var last time.Time
	lastNight := ""
	for n := 0; ; n++ {
		rec, err := cr.Read()
		if errors.Is(err, io.EOF) {
			return nights, nil
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
		local := when.In(zone)
		if local.Hour() >= 6 && local.Hour() < 22 {
			continue
		}
		// A night carries the date of its evening.
		night := local.Add(-6 * time.Hour).Format(time.DateOnly)
		if night != lastNight {
			nights = append(nights, nil)
			lastNight = night
		}
		nights[len(nights)-1] = append(nights[len(nights)-1], calibrate.NightSample{At: when, Water: garden.WaterFraction(water), TempC: temp})
	}
}

package main

import (
	"fmt"
	"io"
	"os"
	"strings"
	"text/tabwriter"
	"time"

	"fabricpot/control"
	"fabricpot/control/garden"
	"fabricpot/control/weather"
)

// madeOf is a way in which days' reference evapotranspiration is found.
type madeOf struct {
	method, estimated string
	days              int
	sum               float64
}

// printDemand says by which method the water need of each day of a weather file
// would be found and what of it is estimated; without a file, what each kind of
// input would lead to.
func printDemand(out, warn io.Writer, g *garden.Garden, file string) error {
	place := weather.PlaceOf(g.Site)
	t := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t)
	if file == "" {
		fmt.Fprintln(t, "weather known\tneed is found by")
		day := garden.DayWeather{Date: time.Date(2001, time.July, 1, 0, 0, 0, 0, time.UTC)}
		for _, c := range []struct {
			known string
			with  func(*garden.DayWeather)
		}{
			{"nothing", func(*garden.DayWeather) {}},
			{"temperatures", func(d *garden.DayWeather) { d.TMinC, d.TMaxC = garden.Known(18.0), garden.Known(29.0) }},
			{"and humidity", func(d *garden.DayWeather) { d.RHMin, d.RHMax = garden.Known(40.0), garden.Known(85.0) }},
			{"and wind", func(d *garden.DayWeather) { d.WindMS = garden.Known(2.0) }},
			{"and sun or radiation", func(d *garden.DayWeather) { d.SunHours = garden.Known(9.0) }},
		} {
			c.with(&day)
			e := control.Reference(place, day.Date, day)
			fmt.Fprintf(t, "%s\t%s%s\n", c.known, e.Method, estimates(e, "\n\t"))
		}
		return t.Flush()
	}
	f, err := os.Open(file)
	if err != nil {
		return fmt.Errorf("weather: %w", err)
	}
	defer f.Close()
	rows, warnings, err := weather.ReadDays(f, file, g.Site.Zone)
	if err != nil {
		return err
	}
	for _, w := range warnings {
		fmt.Fprintln(warn, "warning:", w)
	}
	var ways []madeOf
	for _, d := range rows {
		e := control.Reference(place, d.Date, d)
		k := 0
		estimated := estimates(e, "\n\t\t")
		for k < len(ways) && (ways[k].method != e.Method || ways[k].estimated != estimated) {
			k++
		}
		if k == len(ways) {
			ways = append(ways, madeOf{method: e.Method, estimated: estimated})
		}
		ways[k].days++
		ways[k].sum += e.MM
	}
	fmt.Fprintln(t, "days\tmean mm/day\tneed is found by")
	for _, w := range ways {
		fmt.Fprintf(t, "%d\t%.1f\t%s%s\n", w.days, w.sum/float64(w.days), w.method, w.estimated)
	}
	return t.Flush()
}

// estimates are what of it is estimated, each after a break: in one line they would not fit
// into 80 columns.
func estimates(e weather.ETo, lineBreak string) string {
	return strings.Join(append([]string{""}, e.Estimated...), lineBreak+"estimated: ")
}

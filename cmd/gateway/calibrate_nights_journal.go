package main

import (
	"fmt"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/control/garden"
	"fabricpot/sensors/calibrate"
)

// settles is how long after water a pot may still drain (common practice, no
// source).
const settles = 6 * time.Hour

// dryNights are a probe's nights in the journal into which no water came: none
// was given to its pot by line or by hand, none fell as rain, from six hours
// before the night's first hour. wet counts those that were left out.
func dryNights(j *journal.Journal, g *garden.Garden, probe garden.Probe, from, to time.Time) (nights []calibrate.Night, wet int, err error) {
	rows, err := j.ProbeReadings(probe.ID, from, to, maxReadings)
	if err != nil {
		return nil, 0, err
	}
	waters, err := watersOf(j, g, probe.Zone, from.Add(-settles-12*time.Hour), to)
	if err != nil {
		return nil, 0, err
	}
	split := nightSplit{zone: g.Site.Zone}
	for _, r := range rows {
		split.add(calibrate.NightSample{At: r.At, Water: r.Water, TempC: r.TempC})
	}
	for _, n := range split.nights {
		// The night's bounds, not its samples': a gap may hide a watering.
		evening := n[0].At.In(g.Site.Zone).Add(-nightEnds)
		y, m, d := evening.Date()
		begins := time.Date(y, m, d, 22, 0, 0, 0, g.Site.Zone)
		dry := true
		for _, w := range waters {
			dry = dry && !(w.ended.After(begins.Add(-settles)) && w.begun.Before(begins.Add(8*time.Hour)))
		}
		if dry {
			nights = append(nights, n)
		} else {
			wet++
		}
	}
	return nights, wet, nil
}

type wetSpan struct{ begun, ended time.Time }

// watersOf are the times at which water came into a zone's pot: its neighbours'
// too, which share the mix.
func watersOf(j *journal.Journal, g *garden.Garden, zone garden.ZoneID, from, to time.Time) ([]wetSpan, error) {
	pot, _, ok := g.Zone(zone)
	if !ok {
		return nil, fmt.Errorf("the garden has no zone %q", zone)
	}
	lines, zones := map[garden.LineID]bool{}, map[garden.ZoneID]bool{"": true}
	for i := range pot.Zones {
		lines[pot.Zones[i].Line], zones[pot.Zones[i].ID] = true, true
	}
	for i := range g.Lines {
		for _, o := range g.Lines[i].Outlets {
			if zones[o.Zone] && o.Zone != "" {
				lines[g.Lines[i].ID] = true
			}
		}
	}
	var out []wetSpan
	given, err := j.DeliveriesSince(from)
	if err != nil {
		return nil, err
	}
	for _, d := range given {
		if lines[d.Line] {
			out = append(out, wetSpan{d.OpenedAt.Wall, d.ClosedAt.Wall})
		}
	}
	asks, err := j.Asks(from, to)
	if err != nil {
		return nil, err
	}
	for _, a := range asks {
		if a.Kind == garden.GardenerWatered && zones[a.Zone] {
			out = append(out, wetSpan{a.At.Wall, a.At.Wall})
		}
	}
	feeds, err := j.Feeds("", from)
	if err != nil {
		return nil, err
	}
	for _, f := range feeds {
		if zones[f.Zone] {
			out = append(out, wetSpan{f.At.Wall, f.At.Wall})
		}
	}
	const part = 15 * time.Minute
	rain, err := j.Rain(from, to, max(1, int(to.Sub(from)/part)))
	for _, r := range rain {
		out = append(out, wetSpan{r.At, r.At.Add(part)})
	}
	return out, err
}

// coefficientSince is when the coefficient in a calibration file was last
// changed: readings of before were corrected by another one.
func coefficientSince(j *journal.Journal, file string, from time.Time) (time.Time, error) {
	notes, err := j.Notes(from)
	for _, n := range notes {
		if isAbout(n, coefficientKind, file) {
			from = n.At.Wall
		}
	}
	return from, err
}

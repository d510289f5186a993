package terrace

import (
	"testing"
	"time"

	"fabricpot/control/garden"
	"fabricpot/sim/terrace/column"
)

// BenchmarkBareColumns is the baseline for the whole gateway: the soil columns
// of twelve zones over 153 days in steps of a minute, with sinks renewed every
// ten minutes and ten minutes of water a day, and nothing else.
func BenchmarkBareColumns(b *testing.B) {
	const zones, days = 12, 153
	soil, err := column.NewSoil(garden.Retention{Model: garden.VanGenuchten,
		ThetaR: .10, ThetaS: .88, AlphaPerCM: .15, N: 1.6, KsCMH: 30})
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		cols := make([]*column.Column, zones)
		for i := range cols {
			cols[i], err = column.New(column.Config{Soil: soil, HeightCM: 25 + 2*float64(i), MaxPondCM: 3,
				Solutes: []column.Solute{column.RainTag()}})
			if err != nil {
				b.Fatal(err)
			}
		}
		for m := range days * 24 * 60 {
			hour := m / 60 % 24
			sun := 0.0
			if hour >= 6 && hour < 20 {
				sun = 1
			}
			for _, c := range cols {
				if m%10 == 0 {
					c.SetDemand(column.Demand{Transpiration: .12 * sun, Surface: .01 * sun, Wall: .02 * sun, ForHours: 1. / 6})
				}
				water := 0.0
				if hour == 6 && m%60 < 10 {
					water = 12.6
				}
				c.Step(1./60, 0, water, 0)
			}
		}
	}
	steps := float64(b.N) * zones * days * 24 * 60
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/steps, "ns/column-minute")
}

// BenchmarkTerrace is the same season with weather, plants and plumbing.
func BenchmarkTerrace(b *testing.B) {
	g := smallGarden()
	pots := g.Pots
	g.Pots, g.Lines = nil, nil
	for i := range 12 {
		p := pots[i%3]
		id := string(rune('a' + i))
		p.ID = garden.PotID(id)
		z := p.Zones[0]
		z.ID, z.Pot, z.Line = garden.ZoneID(id), p.ID, garden.LineID(id)
		p.Zones = []garden.Zone{z}
		g.Pots = append(g.Pots, p)
		g.Lines = append(g.Lines, garden.Line{ID: z.Line, DU: .9, Outlets: []garden.Outlet{{Zone: z.ID, Emitters: 4, FlowLPH: 4}}})
	}
	rows := seattle(b, g)
	for b.Loop() {
		te, err := New(g, may1, DefaultOptions(1, rows))
		if err != nil {
			b.Fatal(err)
		}
		for m := range 153 * 24 * 60 {
			if in := m % 1440; in == 360 || in == 370 {
				for _, l := range g.Lines {
					te.SetValve(l.ID, in == 360)
				}
			}
			te.Advance(time.Duration(m+1) * time.Minute)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*12*153*1440), "ns/column-minute")
}

package column

import "testing"

// BenchmarkColumnMinute is one 20-cell column over one minute. "quiet" is a
// drained pot in which plants drink; "wet" has water going in and out. A step is
// one the solver accepted; a minute is one such step unless water moves fast.
func BenchmarkColumnMinute(b *testing.B) {
	run := func(b *testing.B, transpiration, water float64) {
		c := newColumn(b, peatPerlite(), Config{HeightCM: 45, MaxPondCM: 3, Solutes: []Solute{RainTag()}})
		for range 600 {
			c.Step(1./60, 0, water, 0)
		}
		before := c.t.Steps
		b.ReportAllocs()
		b.ResetTimer()
		for i := range b.N {
			if i%10 == 0 {
				c.SetDemand(Demand{Transpiration: transpiration, Surface: transpiration / 10, Wall: transpiration / 10, ForHours: 1. / 6})
			}
			// Keep it in its band: what was drunk comes back slowly.
			w := water
			if c.t.Uptake+c.t.Evaporate > c.t.In-c.t.Drained+1 {
				w = transpiration * 2
			}
			c.Step(1./60, 0, w, 0)
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N), "ns/column-minute")
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(c.t.Steps-before)/float64(c.Cells()), "ns/cell-step")
		b.ReportMetric(float64(c.t.Solves)/float64(c.t.Steps), "solves/step")
	}
	b.Run("quiet", func(b *testing.B) { run(b, 0.08, 0) })
	b.Run("wet", func(b *testing.B) { run(b, 0.08, 2) })
}

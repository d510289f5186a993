package sensors

import (
	"fmt"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/require"
)

// BenchmarkProbes samples 10 to 10 000 probes, four to a converter that answers
// at once. What counts is × least: the time per probe over that of the ten in the
// same run.
func BenchmarkProbes(b *testing.B) {
	least := 0.0
	for _, n := range []int{10, 100, 1000, 10000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			g := oneProbe()
			pot := g.Pots[0]
			g.Pots = nil
			for i := range n {
				p, z := pot, pot.Zones[0]
				id := fmt.Sprint("pot", i)
				p.ID, z.ID = garden.PotID(id), garden.ZoneID(id)
				z.Probes = []garden.Probe{{ID: garden.ProbeID(id), Zone: z.ID, DepthCM: 10,
					Input: garden.Input{Bus: fmt.Sprint("bus", i/16), Addr: 0x48 + uint16(i/4%4), Channel: i % 4}}}
				p.Zones = []garden.Zone{z}
				g.Pots = append(g.Pots, p)
			}
			s, err := NewSampler(g, func(garden.Input) (VoltReader, error) {
				return &script{volts: map[int]float64{0: 1.8, 1: 1.7, 2: 1.6, 3: 1.5}, wobble: 0.001, sign: 1}, nil
			}, Options{})
			require.NoError(b, err)
			now := garden.Moment{Wall: time.Date(2031, 6, 1, 8, 0, 0, 0, time.UTC)}
			out := s.Sample(now, nil)
			require.Len(b, out, n)
			b.ReportAllocs()
			for b.Loop() {
				now = now.Add(time.Minute)
				out = s.Sample(now, out)
			}
			each := float64(b.Elapsed().Nanoseconds()) / float64(b.N) / float64(n)
			if n == 10 {
				least = each
			}
			b.ReportMetric(each, "ns/probe")
			if least > 0 {
				b.ReportMetric(each/least, "×least")
			}
		})
	}
}

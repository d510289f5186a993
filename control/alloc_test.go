package control

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
)

// BenchmarkStep is one tick of 1 000 zones, each with a probe and a line.
func BenchmarkStep(b *testing.B) {
	bn := newBench(b, testGarden(1000, 15))
	bn.run(10 * time.Minute)
	now := bn.now
	orders := make([]garden.Order, 0, 1000)
	bn.obs.Delivered = nil
	b.ReportAllocs()
	for b.Loop() {
		now = now.Add(time.Second)
		orders = bn.p.Step(bn.st, now, &bn.obs, orders[:0])
	}
}

func TestStepAllocatesNothing(t *testing.T) {
	bn := newBench(t, testGarden(20, 15))
	bn.run(2 * time.Hour)
	orders := make([]garden.Order, 0, 32)
	now := bn.now
	got := testing.AllocsPerRun(3000, func() {
		now = now.Add(time.Minute)
		bn.obs.Delivered = bn.obs.Delivered[:0]
		orders = bn.p.Step(bn.st, now, &bn.obs, orders[:0])
		for _, o := range orders {
			bn.obs.Refused = append(bn.obs.Refused[:0], garden.Refusal{Order: o.ID, Line: o.Line, Cause: garden.SupplyBusy})
		}
	})
	require.Zero(t, got)
}

package terrace

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"fabricpot/control/garden"
)

func TestFlowOfALine(t *testing.T) {
	g := smallGarden()
	o := ideal(g, seattle(t, g))
	t.Run("is what its emitters are rated", func(t *testing.T) {
		te := build(t, g, may1, o)
		te.SetValve("one", true)
		te.Advance(30 * time.Minute)
		te.SetValve("one", false)
		te.SetValve("no-such-line", true)
		te.Advance(2 * time.Hour)
		assert.InDelta(t, 8, te.LineLitres("one"), 1e-9)
		assert.InDelta(t, 8, te.Totals(0).AppliedL, 1e-9)
		assert.InDelta(t, 8, te.MeterLitres(), 1e-9)
		assert.Zero(t, te.LineLitres("two"))
	})
	t.Run("is shared when the supply can't carry all", func(t *testing.T) {
		g := smallGarden()
		g.Supply.FlowLPH = 12
		te := build(t, g, may1, o)
		te.SetValve("one", true) // 16 L/h
		te.SetValve("two", true) // 8 L/h
		te.Advance(time.Hour)
		assert.InDelta(t, 8, te.LineLitres("one"), 1e-9)
		assert.InDelta(t, 4, te.LineLitres("two"), 1e-9)
	})
	t.Run("sags with the square root of pressure", func(t *testing.T) {
		g := smallGarden()
		g.Supply.FlowLPH = 16
		o := o
		o.SupplyDroop = garden.Known(.19)
		te := build(t, g, may1, o)
		te.SetValve("one", true)
		te.Advance(time.Hour)
		assert.InDelta(t, 16*.9, te.LineLitres("one"), 1e-9)
	})
	t.Run("ends with the tank", func(t *testing.T) {
		g := smallGarden()
		g.Supply.TankL = garden.Known(5)
		te := build(t, g, may1, o)
		te.SetValve("one", true)
		te.Advance(time.Hour)
		assert.InDelta(t, 5, te.LineLitres("one"), 1e-9)
		assert.InDelta(t, 0, te.TankL().Value, 1e-9)
		te.SetTank(2)
		te.Advance(2 * time.Hour)
		assert.InDelta(t, 7, te.LineLitres("one"), 1e-9)
	})
	t.Run("spreads as the uniformity says", func(t *testing.T) {
		g := smallGarden()
		g.Lines[0].Outlets[0].Emitters = 4000
		o := o
		o.EmitterSpread = garden.Measured{}
		te := build(t, g, may1, o)
		var low, sum float64
		var f []float64
		for _, e := range te.pipes.lines[0].outlets[0].emitters {
			f = append(f, e.factor)
		}
		slices.Sort(f)
		for i, x := range f {
			sum += x
			if i < 1000 {
				low += x
			}
		}
		assert.InDelta(t, .9, (low/1000)/(sum/4000), .01, "lowest quarter over mean is DU")
	})
}

func TestFaultsOfThePlumbing(t *testing.T) {
	g := smallGarden()
	litres := func(fault func(*Terrace), open bool) (line, applied, meter float64) {
		te := build(t, g, may1, ideal(g, seattle(t, g)))
		fault(te)
		te.SetValve("one", open)
		te.Advance(time.Hour)
		return te.LineLitres("one"), te.Totals(0).AppliedL, te.MeterLitres()
	}
	for _, tc := range []struct {
		name                 string
		fault                func(*Terrace)
		open                 bool
		line, applied, meter float64
	}{
		{"none", func(*Terrace) {}, true, 16, 16, 16},
		{"valve stuck open", func(te *Terrace) { te.StickValve("one", StuckOpen) }, false, 16, 16, 16},
		{"valve stuck closed", func(te *Terrace) { te.StickValve("one", StuckClosed) }, true, 0, 0, 0},
		{"leak", func(te *Terrace) { te.LeakValve("one", .5) }, false, .5, .5, .5},
		{"half the emitters blocked", func(te *Terrace) { te.BlockEmitters("one", 0, .5) }, true, 8, 8, 8},
		{"hose off", func(te *Terrace) { te.HoseOff("one", 3) }, true, 48, 0, 48},
		{"supply gone", func(te *Terrace) { te.CutSupply(true) }, true, 0, 0, 0},
		{"meter stopped", func(te *Terrace) { te.StopMeter(true) }, true, 16, 16, 0},
	} {
		t.Run(tc.name, func(t *testing.T) {
			line, applied, meter := litres(tc.fault, tc.open)
			assert.InDelta(t, tc.line, line, 1e-9, "line")
			assert.InDelta(t, tc.applied, applied, 1e-9, "applied")
			assert.InDelta(t, tc.meter, meter, 1e-9, "meter")
		})
	}
}

package control

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// People see the account on the scale of the pot's own water. Where a wash is wanted, the
// extract of the saturated mix has what costs aubergine 8 % (1.1 mS/cm, 6.9 % for each
// more: Maas, the list of the U.S. Salinity Laboratory); it holds the same salts in all
// the pores.
func TestViewOfSalts(t *testing.T) {
	b := newBench(t, saltyGarden(0.5))
	look := func() SaltView { return b.p.View(b.st, b.now, nil)[0].Salts }
	says := func() string { v := look(); return v.String() }
	assert.Zero(t, look(), "nothing is known before the first round")
	b.run(2 * time.Hour)
	z, zp := &b.st.zones[0], &b.p.zones[0]
	v := look()
	require.True(t, v.Kept())
	assert.InDelta(t, 0.5*z.water.Mean/float64(zp.Capacity), v.MS, 0.01, "the supply's water")
	ece := v.WashAtMS * float64(zp.Capacity/zp.Porosity)
	assert.InDelta(t, 1.1+8/6.9, ece, 1e-9)
	assert.InDelta(t, 8, v.CostPC, 1e-9)
	assert.Equal(t, "0.5 mS/cm; washed out from 3.9 on (8 % of the aubergine harvest)", v.String())

	wash := func() {
		z.salts.enter((1.01*zp.washing.at-z.salts.load)/0.5, zp)
		v = look()
		assert.InDelta(t, 1.01*v.WashAtMS, v.MS, 1e-9)
		assert.GreaterOrEqual(t, v.WashL, washShare*zp.VolumeL)
		// Drainage of 2.25 times the mean takes 1 - exp(-2.25 · 3.75 / 38.2), a fifth, along
		// with a twentieth of the volume.
		for look().MS > 0.79*v.WashAtMS {
			b.tick()
			require.Less(t, b.now.Mono, 60*24*time.Hour)
		}
	}
	drains := func() bool { return z.runs(zp) > 0 }
	z.salts.enter((1.01*zp.washing.at-z.salts.load)/0.5, zp)
	assert.Equal(t, "3.9 mS/cm; washed out from 3.9 on (8 % of the aubergine harvest): 7.8 L are to drain", says())
	wash()
	require.True(t, drains())
	v = look()
	assert.Zero(t, v.WashL, "what is left is too little for another")
	assert.Equal(t, b.now.Wall, v.Through)
	for drains() {
		b.tick()
	}
	last := look().Through
	b.run(24 * time.Hour)
	assert.Equal(t, last, look().Through)
	assert.Contains(t, says(), "; washed out from 3.9 on (8 % of the aubergine harvest); last washed through "+last.Format("2 January"))

	t.Run("a wash that did not come was none", func(t *testing.T) {
		before := z.salts
		z.salts.ranL = 8
		z.salts.watch(1, b.now, zp)
		require.Equal(t, b.now.Wall, z.salts.through)
		z.salts.back(&before, 0, zp)
		assert.Equal(t, last, z.salts.through)
	})
	t.Run("little that drains washes nothing", func(t *testing.T) {
		z.salts.ranL = 0
		for range 10 {
			z.salts.leave(0.4*washShare*zp.VolumeL, zp)
			z.salts.watch(0, b.now, zp)
		}
		assert.Equal(t, last, look().Through)
	})
	t.Run("by a clock that may be wrong", func(t *testing.T) {
		b.now.Synced = false
		wash()
		assert.Zero(t, look().Through, "rather no day than an old one")
	})
	t.Run("none is kept", func(t *testing.T) {
		b := newBench(t, testGarden(1, 36))
		b.run(time.Hour)
		v := b.p.View(b.st, b.now, nil)[0].Salts
		assert.Zero(t, v)
		assert.False(t, v.Kept())
	})
	t.Run("water that itself costs more", func(t *testing.T) {
		b := newBench(t, saltyGarden(4))
		b.run(time.Hour)
		v := b.p.View(b.st, b.now, nil)[0].Salts
		assert.InDelta(t, 4.4, v.WashAtMS, 1e-9, "a tenth over the water's own")
		assert.InDelta(t, 6.9*(4.4*float64(zp.Capacity/zp.Porosity)-1.1), v.CostPC, 1e-9)
	})
	t.Run("the first to suffer is named", func(t *testing.T) {
		g := saltyGarden(0.5)
		pz := &g.Pots[0].Zones[0]
		pz.Plants = append(pz.Plants, pz.Plants[0])
		pz.Plants[1].Crop = "chilli"
		b := newBench(t, g)
		b.run(time.Hour)
		assert.Equal(t, "chilli", b.p.View(b.st, b.now, nil)[0].Salts.Crop, "1.5 + 8/14 is under 1.1 + 8/6.9 (Maas)")
	})
}

// What feeding tells of dissolved food counts, and is told apart.
func TestFoodIsInTheViewOfSalts(t *testing.T) {
	b := newBench(t, saltyGarden(0.5))
	b.run(2 * time.Hour)
	zp := &b.p.zones[0]
	before := b.st.zones[0].saltView(zp)
	assert.Zero(t, before.FoodMS)
	assert.NotContains(t, before.String(), "food")
	b.p.Food(b.st, "pot0", 0.75*zp.washing.heldL)
	v := b.st.zones[0].saltView(zp)
	assert.InDelta(t, 0.75, v.FoodMS, 1e-9)
	assert.InDelta(t, before.MS+0.75, v.MS, 1e-9)
	assert.Contains(t, v.String(), ", 0.8 of it food; washed out from")
}

package control

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/feed"
	"fabricpot/control/garden"
)

// tallGarden is a pot of 400 L with six plants and a probe 12 cm under its surface.
func tallGarden() *garden.Garden {
	g := testGarden(1, 12)
	g.Pots[0].VolumeL = 400
	g.Pots[0].Shape = garden.Shape{HeightCM: 63, BottomDiameterCM: 90, TopDiameterCM: 90}
	g.Pots[0].Zones[0].Plants[0].Count = 6
	g.Lines[0].Outlets[0].Emitters = 8
	return g
}

func TestDepthNobodySees(t *testing.T) {
	warned := func(g *garden.Garden) bool {
		p, problems, err := NewPlan(g)
		require.NoError(t, err)
		said := false
		for _, pr := range problems {
			said = said || strings.HasSuffix(pr.Path, ".probes") && strings.Contains(pr.What, "second probe")
		}
		assert.Equal(t, said, p.zones[0].DepthUnseen)
		return said
	}
	assert.True(t, warned(tallGarden()))
	assert.False(t, warned(testGarden(1, 12)), "45 cm of mix: the probe tells enough")
	deep := tallGarden()
	z := &deep.Pots[0].Zones[0]
	z.Probes = append(z.Probes, garden.Probe{ID: "deep", Zone: z.ID, DepthCM: 45})
	assert.False(t, warned(deep))
	none := tallGarden()
	none.Pots[0].Zones[0].Probes = nil
	assert.False(t, warned(none), "it lives on the balance anyway")
}

// A probe near the surface is wetted by every watering and by dew: here it never
// reads dry. The pot gets what the book says it lost all the same.
func TestDepthIsWateredByItsBalance(t *testing.T) {
	b := newBench(t, tallGarden())
	z := &b.p.zones[0]
	moist := b.reading(0) - 0.2*z.band(1)
	b.lie = func(int, float64) float64 { return moist }
	b.run(40 * 24 * time.Hour)
	require.NotEmpty(t, b.log)
	assert.Positive(t, b.reasons()[garden.DepthUnseen])
	book := b.st.zones[0].spent * z.VolumeL
	require.Greater(t, book, 3*z.band(1)*z.VolumeL, "or the test says nothing")
	assert.Greater(t, b.applied, leastThirst*book-(waitForProbe+0.3)*z.band(1)*z.VolumeL)
	assert.Less(t, b.applied, 1.2*book)

	t.Run("a restart remembers what is missing", func(t *testing.T) {
		raw, err := json.Marshal(b.p.Remember(b.st, b.now))
		require.NoError(t, err)
		var m Memory
		require.NoError(t, json.Unmarshal(raw, &m))
		st := b.p.NewState()
		b.p.Recall(st, b.now, m, nil)
		assert.InDelta(t, b.st.zones[0].depth.short, st.zones[0].depth.short, 1e-9)
	})
}

// The leaching fraction is what drains of what is applied (Ayers and Westcot,
// FAO Irrigation and Drainage Paper 29, section 2.4.2; from memory).
func TestLeachingFractionDrains(t *testing.T) {
	share := func(fraction float64, hours []garden.DayWindow, fedEvery time.Duration) float64 {
		g := testGarden(1, 36)
		g.Pots[0].Zones[0].LeachingFraction = fraction
		g.Supply.Hours = hours
		b := newBench(t, g)
		for day := time.Duration(0); day < 60*24*time.Hour; day += time.Hour {
			if fedEvery > 0 {
				// A feed that adds 1 mS/cm.
				b.p.Doubt(b.st, "pot0", feed.ReadingDoubt(day%fedEvery, 1))
			}
			b.run(time.Hour)
		}
		require.Positive(t, b.applied)
		t.Logf("%.2f asked: %.3f of %.0f L drained", fraction, b.drained/b.applied, b.applied)
		return b.drained / b.applied
	}
	assert.Less(t, share(0, nil, 0), 0.03)
	assert.InDelta(t, 0.10, share(0.10, nil, 0), 0.03)
	assert.InDelta(t, 0.20, share(0.20, nil, 0), 0.05)
	// Two hours hold a part of a wash only: it goes on in the next two.
	hour := func(from, to int) garden.DayWindow {
		return garden.DayWindow{From: time.Duration(from) * time.Hour, To: time.Duration(to) * time.Hour}
	}
	assert.InDelta(t, 0.15, share(0.15, []garden.DayWindow{hour(5, 7), hour(19, 21)}, 0), 0.04)
	// A pot that is fed every five days has readings in doubt all the time.
	assert.InDelta(t, 0.15, share(0.15, nil, 5*24*time.Hour), 0.04)
}

// A feed that is due or near has the wash wait, as far as it may. A zone of which
// nobody says anything goes by the last feed's age, as ever.
func TestWashComesAfterTheFeed(t *testing.T) {
	g := testGarden(1, 36)
	g.Pots[0].Zones[0].LeachingFraction = 0.15
	b := newBench(t, g)
	b.run(time.Hour)
	z, zp := &b.st.zones[0], &b.p.zones[0]
	owing := func(share float64) { z.depth.wash, z.depth.over = share*zp.VolumeL, 0 }
	owing(washShare * 1.01)
	for _, c := range []struct {
		name         string
		salt         float64
		say          func()
		due, pressed bool
	}{
		{"nothing said, fed long ago", 1, func() {}, true, true},
		{"nothing said, just fed", 1.5, func() {}, false, true},
		{"a feed is due", 1, func() { b.p.DelayWash(b.st, "pot0") }, false, true},
		{"another zone's feed", 1, func() { b.p.DelayWash(b.st, "nobody") }, true, true},
	} {
		b.st.TakeBack()
		z.salt = c.salt
		c.say()
		owing(washShare * 1.01)
		assert.Equal(t, c.due, z.washDue(zp), c.name)
		owing(washShare * 0.99)
		assert.False(t, z.washDue(zp), "%s: too little", c.name)
		owing(pressingShare * 1.01)
		assert.Equal(t, c.pressed, z.washDue(zp), "%s: much is owed", c.name)
	}
	b.p.DelayWash(b.st, "pot0")
	b.st.TakeBack()
	z.salt = 1
	owing(washShare * 1.01)
	assert.True(t, z.washDue(zp), "taken back")
	z.salt = 1.5
	owing(0.19)
	assert.True(t, z.washDue(zp), "nearly a fifth of the volume is much")
}

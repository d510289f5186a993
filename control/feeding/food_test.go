package feeding

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/feed"
	"fabricpot/control/garden"
)

// Where as much drains as salts ask for, a pot is not flushed of food that its plants bear:
// at so much over the feed another is.
func TestFoodIsNotFlushedOutOfPlantsThatBearIt(t *testing.T) {
	start := time.Date(2026, 6, 1, 6, 0, 0, 0, time.UTC)
	probe := newRig(t, testGarden(), tended(start))
	for byNeed, want := range map[bool]int{false: 1, true: 0} {
		g := testGarden()
		first := newRig(t, g, tended(start))
		over := first.p.zones[0].feedMSAt[feed.Middle].Value + feed.DrainOverFeed + 0.2
		require.Less(t, over, feed.DrainMost)
		g.Pots[0].Zones[0].LeachByNeed = byNeed
		r := newRig(t, g, salted(probe, start, "a", over))
		require.Equal(t, byNeed, r.p.zones[0].byNeed)
		for i := range r.views {
			r.views[i].CapL, r.views[i].ToRefillL, r.views[i].Water = 60, 2, r.views[i].Capacity
		}
		r.run(20 * time.Hour)
		assert.Equal(t, want, count(r.records, "a", feed.FlushBegun), "by need: %v", byNeed)
	}
}

// What is told of food is what the ledger has dissolved: 0.65 mS/cm for 100 mg N a litre,
// as the label says, of fed pots alone.
func TestFoodsAreThoseOfTheLedger(t *testing.T) {
	start := time.Date(2026, 6, 1, 6, 0, 0, 0, time.UTC)
	r := newRig(t, testGarden(), fedDaysAgo(start, 3))
	r.run(2 * time.Hour)
	told := map[garden.ZoneID]float64{}
	r.p.Foods(r.st, func(z garden.ZoneID, load float64) { told[z] = load })
	assert.Equal(t, 0.0, told["e"], "not fed: told too, since it may have been before a reload")
	assert.Len(t, told, len(r.st.zones))
	pool := r.st.zones[0].ledger.Pool.N
	require.Greater(t, pool, 0.1)
	assert.InDelta(t, pool*1000/100*0.65, told["a"], 1e-9)
}

// Plants of no known day go by the season's mean, others by their stage.
func TestNeedOfPlantsOfNoKnownDay(t *testing.T) {
	g := testGarden()
	r := newRig(t, g, Past{})
	z := &r.p.zones[0]
	mean := feed.MeanUptake(z.hunger, z.hunger.YieldKG, z.stages, garden.Measured{})
	for s := feed.Initial; s <= feed.Late; s++ {
		assert.Equal(t, mean, z.need(s, garden.Measured{}))
	}
	g.Pots[0].Zones[0].Plants[0].PlantedOn = time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC)
	z = &newRig(t, g, Past{}).p.zones[0]
	assert.Greater(t, z.need(feed.Middle, garden.Measured{}).N, mean.N)
	assert.Less(t, z.need(feed.Initial, garden.Measured{}).N, mean.N)
}

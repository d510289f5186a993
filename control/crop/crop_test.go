package crop_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fabricpot/control/crop"
	"fabricpot/control/garden"
)

// FAO-56 Tables 11, 12 and 22. "read" was seen in open data or a transcription
// of the tables, "memory" was recalled; crops that FAO-56 does not have are not
// listed.
func TestLibraryAgainstFAO56(t *testing.T) {
	for _, tc := range []struct {
		name          string
		ini, mid, end float64
		kcMark        string
		stages        [4]int
		stagesMark    string
		p             float64 // all read
	}{
		{"tomato", 0.60, 1.15, 0.80, "read; end is the middle of 0.70-0.90", [4]int{30, 40, 45, 30}, "memory", 0.40},
		{"aubergine", 0.60, 1.05, 0.90, "read", [4]int{30, 45, 40, 25}, "memory", 0.45},
		{"sweet pepper", 0.60, 1.05, 0.90, "read", [4]int{30, 35, 40, 20}, "memory", 0.30},
		{"cucumber", 0.60, 1.00, 0.75, "memory", [4]int{20, 30, 40, 15}, "memory", 0.50},
		{"bush bean", 0.50, 1.05, 0.90, "memory", [4]int{20, 30, 30, 10}, "memory", 0.45},
		{"broccoli", 0.70, 1.05, 0.95, "read", [4]int{35, 45, 40, 15}, "read", 0.45},
		{"onion", 0.70, 1.05, 0.75, "read", [4]int{15, 25, 70, 40}, "memory", 0.30},
		{"lettuce", 0.70, 1.00, 0.95, "read", [4]int{20, 30, 15, 10}, "read", 0.30},
		{"potato", 0.50, 1.15, 0.75, "memory", [4]int{25, 30, 45, 30}, "memory", 0.35},
	} {
		t.Run(tc.name, func(t *testing.T) {
			c, ok := crop.Lookup(tc.name)
			require.True(t, ok)
			assert.Equal(t, [3]float64{tc.ini, tc.mid, tc.end}, [3]float64{c.KcIni, c.KcMid, c.KcEnd}, tc.kcMark)
			assert.Equal(t, tc.stages, c.StageDays, tc.stagesMark)
			assert.Equal(t, tc.p, c.P, "read")
		})
	}
	straw, ok := crop.Lookup("strawberry")
	require.True(t, ok)
	assert.Equal(t, [4]float64{0.40, 0.85, 0.75, 0.20}, [4]float64{straw.KcIni, straw.KcMid, straw.KcEnd, straw.P}, "Kc memory, p read; no stages in FAO-56")
	chard, ok := crop.Lookup("chard")
	require.True(t, ok)
	assert.Equal(t, [3]float64{0.70, 1.00, 0.95}, [3]float64{chard.KcIni, chard.KcMid, chard.KcEnd}, "FAO-56's spinach, read")
}

func TestEveryCropIsWhole(t *testing.T) {
	names := crop.Names()
	assert.Subset(t, names, []string{"tomato", "aubergine", "sweet pepper", "chilli", "cucumber", "bush bean", "broccoli",
		"onion", "lettuce", "strawberry", "potato", "chard", "basil"})
	for _, n := range names {
		t.Run(n, func(t *testing.T) {
			c, ok := crop.Lookup(n)
			require.True(t, ok)
			assert.NotEmpty(t, c.Source)
			assert.Contains(t, c.Source, "judgement", "canopies are nobody's table")
			assert.Greater(t, c.P, 0.1)
			assert.Less(t, c.P, 0.8)
			assert.Greater(t, c.CanopyM2, 0.01)
			assert.Less(t, c.CanopyM2, 1.5)
			assert.Positive(t, c.HeightM)
			assert.Less(t, c.BaseC, c.RefC)
			assert.Less(t, c.RefC, c.UpperC)
			for _, d := range c.StageDays {
				assert.Positive(t, d)
			}
		})
	}
}

func TestLookup(t *testing.T) {
	for alias, name := range map[string]string{
		"Eggplant": "aubergine", "bell-pepper": "sweet pepper", "hot_pepper": "chilli", " CHILLI ": "chilli",
		"bush-bean": "bush bean", "swiss chard": "chard",
	} {
		c, ok := crop.Lookup(alias)
		require.True(t, ok, alias)
		assert.Equal(t, name, c.Name)
	}
	_, ok := crop.Lookup("fern")
	assert.False(t, ok)
	_, ok = crop.Lookup("")
	assert.False(t, ok)
}

func TestOwnCropsComeFirst(t *testing.T) {
	own := []garden.OwnCrop{{Name: "Tomato", KcIni: .5, KcMid: 1.3, KcEnd: 1, StageDays: [4]int{10, 20, 30, 40}, P: .35, HeightM: 2, CanopyM2: .9}}
	c, ok := crop.Find(own, "tomato")
	require.True(t, ok)
	assert.True(t, c.Own)
	assert.Equal(t, 1.3, c.At(35).Kc)
	c, ok = crop.Find(own, "basil")
	require.True(t, ok)
	assert.False(t, c.Own)
	_, ok = crop.Find(own, "okra")
	assert.False(t, ok)
}

// FAO-56's Kc curve with its own tomato figures: flat, straight, flat, straight
// (eq. 66), worked by hand.
func TestKcCurve(t *testing.T) {
	c, _ := crop.Lookup("tomato") // 30/40/45/30 days, 0.60/1.15/0.80
	for _, tc := range []struct {
		age, kc float64
		stage   string
		over    bool
	}{
		{0, 0.60, crop.Initial, false},
		{29.9, 0.60, crop.Initial, false},
		{30, 0.60, crop.Development, false},
		{50, 0.875, crop.Development, false}, // halfway: (0.60+1.15)/2
		{70, 1.15, crop.Mid, false},
		{114, 1.15, crop.Mid, false},
		{130, 0.975, crop.Late, false}, // halfway: (1.15+0.80)/2
		{145, 0.80, crop.Late, true},
		{400, 0.80, crop.Late, true},
		{-5, 0.60, crop.Initial, false},
		{math.NaN(), 0.60, crop.Initial, false},
		{math.Inf(1), 0.80, crop.Late, true},
	} {
		g := c.At(tc.age)
		assert.Equal(t, tc.stage, g.Stage, "day %v", tc.age)
		assert.InDelta(t, tc.kc, g.Kc, 1e-12, "day %v", tc.age)
		assert.Equal(t, tc.over, g.Over, "day %v", tc.age)
	}
	assert.Equal(t, c.At(80), c.Grown())
}

func TestGrowthProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, _ := crop.Lookup(rapid.SampledFrom(crop.Names()).Draw(t, "crop"))
		age := rapid.Float64Range(0, 300).Draw(t, "age")
		step := rapid.Float64Range(0, 1).Draw(t, "step")
		a, b := c.At(age), c.At(age+step)
		assert.GreaterOrEqual(t, b.CanopyM2, a.CanopyM2, "a canopy grows")
		assert.GreaterOrEqual(t, b.RootFraction, a.RootFraction, "roots reach further")
		assert.InDelta(t, a.CanopyM2, b.CanopyM2, 0.06*c.CanopyM2*step+1e-12, "and never jumps")
		assert.InDelta(t, a.Kc, b.Kc, 0.05*step+1e-12)
		assert.Positive(t, a.CanopyM2)
		assert.LessOrEqual(t, a.CanopyM2, c.CanopyM2)
		assert.True(t, a.RootFraction > 0 && a.RootFraction <= 1)
	})
}

func TestExposure(t *testing.T) {
	for _, e := range []garden.Exposure{garden.Sheltered, garden.OpenAir, garden.WindyPaved} {
		m := crop.MicroclimateOf(e)
		assert.True(t, m.Low < m.Factor && m.Factor < m.High, "%s: inside its range", e)
		assert.NotEmpty(t, m.Caution)
		assert.Equal(t, m.Factor, crop.ExposureFactor(e))
	}
	assert.Less(t, crop.ExposureFactor(garden.Sheltered), crop.ExposureFactor(garden.OpenAir))
	assert.Less(t, crop.ExposureFactor(garden.OpenAir), crop.ExposureFactor(garden.WindyPaved))
	assert.Equal(t, 1.0, crop.ExposureFactor(""))
	// A paved terrace in high summer stays under FAO-56's bound of Kc 2.5 for
	// lone stands (from memory).
	c, _ := crop.Lookup("tomato")
	assert.Less(t, crop.ExposureFactor(garden.WindyPaved)*c.KcMid, 2.5)
}

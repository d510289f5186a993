package crop_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fabricpot/control/crop"
)

func TestBeginsAt(t *testing.T) {
	c, _ := crop.Lookup("tomato") // 30/40/45/30
	for stage, want := range map[string]float64{
		"initial": 0, "planted": 0, "development": 30, "mid-season": 70, "Fruiting": 70, "flowering": 70, "late": 115, "ripening": 115,
	} {
		got, err := c.BeginsAt(stage)
		require.NoError(t, err)
		assert.Equal(t, want, got, stage)
	}
	_, err := c.BeginsAt("bolting")
	assert.ErrorContains(t, err, `stage "bolting" of tomato is unknown`)
	assert.Equal(t, 145.0, c.SeasonDays())
	for _, s := range crop.StageNames() {
		begin, err := c.BeginsAt(s)
		require.NoError(t, err)
		assert.Equal(t, s, c.At(begin).Stage)
	}
}

// What the gardener sees wins over the calendar.
func TestSeen(t *testing.T) {
	c, _ := crop.Lookup("chilli") // 30/40/110/30
	for _, tc := range []struct {
		name      string
		days      float64
		stage     string
		want      float64
		wantStage string
	}{
		{"earlier than the book", 50, "fruiting", 70, crop.Mid},
		{"as the book says", 100, "fruiting", 100, crop.Mid},
		{"still fruiting when the book has done", 200, "fruiting", 70, crop.Mid},
		{"not growing yet", 45, "initial", 0, crop.Initial},
	} {
		t.Run(tc.name, func(t *testing.T) {
			a, err := c.Seen(crop.Age{Days: tc.days}, tc.stage)
			require.NoError(t, err)
			assert.Equal(t, crop.Age{Days: tc.want, Corrected: true}, a)
			assert.Equal(t, tc.wantStage, c.At(a.Days).Stage)
		})
	}
	a, err := c.Seen(crop.Age{Days: 12}, "sulking")
	require.Error(t, err)
	assert.Equal(t, crop.Age{Days: 12}, a, "left alone")
}

func TestAgeGrows(t *testing.T) {
	a := crop.Age{}.Grow(1).Grow(0.5)
	assert.Equal(t, 1.5, a.Days)
	for _, bad := range []float64{-1, math.NaN(), math.Inf(1)} {
		assert.Equal(t, a, a.Grow(bad))
	}
}

// Degree days by hand: tomato, base 10 and upper bound 30 °C.
func TestDegreeDays(t *testing.T) {
	c, _ := crop.Lookup("tomato")
	for _, tc := range []struct{ tmin, tmax, dd float64 }{
		{15, 25, 10},  // (15+25)/2 - 10
		{5, 25, 7.5},  // the minimum counts as 10
		{2, 8, 0},     // under the base
		{20, 40, 15},  // the maximum counts as 30
		{32, 45, 20},  // both count as 30
		{22, 22, 12},  // the reference
		{-30, -20, 0}, // never negative
	} {
		assert.InDelta(t, tc.dd, c.DegreeDays(tc.tmin, tc.tmax), 1e-12, "%v", tc)
	}
	assert.Zero(t, c.DegreeDays(math.NaN(), 20))
	assert.InDelta(t, 1, c.Progress(17, 27), 1e-12, "a day at 22 °C is a day")
	assert.InDelta(t, 0.5, c.Progress(12, 20), 1e-12)
	assert.Equal(t, 1.5, c.Progress(29, 40))
	assert.Equal(t, 1.0, crop.Crop{}.Progress(20, 30), "no temperatures known")
}

// A cool spring stretches the stages, a warm one shortens them.
func TestStagesStretch(t *testing.T) {
	c, _ := crop.Lookup("tomato")
	until := func(tmin, tmax float64) (days int) {
		for a := (crop.Age{}); c.At(a.Days).Stage != crop.Mid; days++ {
			a = a.Grow(c.Progress(tmin, tmax))
			require.Less(t, days, 1000)
		}
		return days
	}
	assert.Equal(t, 70, until(16, 28))
	assert.Equal(t, 140, until(12, 20))
	assert.Equal(t, 56, until(20, 30))
}

func TestAdjustedP(t *testing.T) {
	// Computed independently from the footnote's formula: tomato, p 0.40.
	for etc, want := range map[float64]float64{2: 0.52, 5: 0.40, 8: 0.28, 12: 0.12, 40: 0.1} {
		assert.InDelta(t, want, crop.AdjustedP(0.40, etc), 1e-12)
	}
	assert.Equal(t, 0.8, crop.AdjustedP(0.7, 0))
	assert.Equal(t, 0.1, crop.AdjustedP(0.4, math.NaN()))
}

func TestClimateKc(t *testing.T) {
	assert.InDelta(t, 1.15, crop.ClimateKc(1.15, 2, 45, 1.2), 1e-12, "the table's own climate")
	// By hand: 1.05 + (0.04·2 + 0.004·20)·(0.7/3)^0.3 = 1.05 + 0.16·0.6463.
	assert.InDelta(t, 1.05+0.16*0.6463, crop.ClimateKc(1.05, 4, 25, 0.7), 1e-4)
	assert.Greater(t, crop.ClimateKc(1.05, 3, 30, 0.7), crop.ClimateKc(1.05, 2, 45, 0.7))
}

func TestNeed(t *testing.T) {
	c, _ := crop.Lookup("tomato")
	// Kc·ETo·canopy: ETo 6 mm, Kc 1.15, 0.8 m² are 5.52 L (computed by hand).
	n, err := c.NeedAt(80, 6, 0.8, 1)
	require.NoError(t, err)
	assert.InDelta(t, 6.9, n.ETcMM, 1e-12)
	assert.InDelta(t, 5.52, n.Litres, 1e-12)
	assert.InDelta(t, 0.40+0.04*(5-6.9), n.P, 1e-12)
	// A mature greenhouse tomato drinks 1.5 to 3 L a day in the sun, one in a hot
	// outdoor container 3 to 8 (extension, from memory).
	n, err = c.NeedAt(80, 4, 0, 1)
	require.NoError(t, err)
	assert.Greater(t, n.Litres, 1.5)
	assert.Less(t, n.Litres, 3.0)
	n, err = c.NeedAt(80, 7, 0, crop.ExposureFactor("windy-paved"))
	require.NoError(t, err)
	assert.Greater(t, n.Litres, 3.0)
	assert.Less(t, n.Litres, 8.0)

	for _, bad := range [][4]float64{{-1, 5, 0, 1}, {math.NaN(), 5, 0, 1}, {5, -1, 0, 1}, {5, math.NaN(), 0, 1}, {5, 300, 0, 1},
		{5, 5, -1, 1}, {5, 5, math.Inf(1), 1}, {5, 5, 0, 0}, {5, 5, 0, math.NaN()}} {
		_, err := c.NeedAt(bad[0], bad[1], bad[2], bad[3])
		assert.ErrorContains(t, err, "tomato is", "%v", bad)
	}
}

func TestNeedProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, _ := crop.Lookup(rapid.SampledFrom(crop.Names()).Draw(t, "crop"))
		age := rapid.Float64Range(0, 300).Draw(t, "age")
		eto := rapid.Float64Range(0, 15).Draw(t, "eto")
		a, err := c.NeedAt(age, eto, 0, 1)
		require.NoError(t, err)
		b, err := c.NeedAt(age, eto+1, 0, 1)
		require.NoError(t, err)
		assert.Greater(t, b.Litres, a.Litres)
		assert.GreaterOrEqual(t, a.P, b.P)
		assert.GreaterOrEqual(t, a.Litres, 0.0)
	})
}

package task

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/feed"
	"fabricpot/control/garden"
)

func recipe(t *testing.T, l float64) feed.Recipe {
	g := &garden.Garden{Products: []garden.Product{
		{ID: "soluble", Name: "soluble 20-10-20", Form: garden.Soluble, Analysis: garden.Analysis{N: 20, P2O5: 10, K2O: 20}, ECPer100PPM: garden.Known(0.6)},
		{ID: "fish", Name: "fish liquid", Form: garden.Particulate, Analysis: garden.Analysis{N: 2, P2O5: 4, K2O: 1}, DensityKGL: garden.Known(1.15)},
	}}
	r, err := feed.NewRecipe(g, []garden.ProductShare{{Product: "soluble", NShare: 0.8}, {Product: "fish", NShare: 0.2}}, 100, l, garden.Injector{})
	require.NoError(t, err)
	return r
}

func TestFeedTaskInWords(t *testing.T) {
	in := FeedInput{
		Zone: "aubergine", Name: "the aubergine", Feed: 7, Recipe: recipe(t, 4), Why: "feed is due", Opened: t0,
		VolumeL: 75, HoseLPM: garden.Known(12), CatchUp: true,
	}
	f, err := NewFeed(in)
	require.NoError(t, err)
	text := strings.Join(f.Steps, "\n")
	assert.Equal(t, "feed-aubergine-7", f.ID)
	assert.Equal(t, "Feed the aubergine: 4.0 L", f.Title)
	// 100 ppm in 4 L is 0.4 g N: 0.32 g from 20 % is 1.6 g, 0.08 g from 2 % is
	// 4 g, or 3.5 mL at 1.15 kg/L. By hand.
	assert.Contains(t, text, "1.6 g of soluble 20-10-20")
	assert.Contains(t, text, "3.5 mL (4.0 g) of fish liquid")
	assert.Contains(t, text, "Push a finger in")
	assert.Contains(t, text, "Pour 3.2 L around the base of the stems, not over leaves, in 2 goes of 1.6 L")
	// Never more soak than feed: 3.2 L at 12 L/min are 16 seconds.
	assert.Contains(t, text, "up to 3.2 L (hold the hose for 16 seconds)")
	assert.Contains(t, text, "the last 800 mL of the same mix")
	assert.InDelta(t, 16, f.HoseSeconds, 1e-9)
	for _, word := range []string{"label", "gloves", "eye protection", "children", "backflow"} {
		assert.Contains(t, strings.Join(f.Cautions, "\n"), word)
	}
	order := []string{"Push a finger", "Fill the can", "Pour 3.2 L", "Wait an hour", "Wait another hour", "Say that it is done"}
	at := -1
	for _, o := range order {
		i := strings.Index(text, o)
		assert.Greater(t, i, at, o)
		at = i
	}

	t.Run("canfuls", func(t *testing.T) {
		in := in
		in.Recipe, in.VolumeL, in.DryKnown, in.CanL = recipe(t, 8), 380, true, 5
		f, err := NewFeed(in)
		require.NoError(t, err)
		text := strings.Join(f.Steps, "\n")
		assert.Contains(t, text, "Make 2 canfuls, each of 4.0 L of water with 1.6 g of")
		assert.NotContains(t, text, "finger")
		assert.InDelta(t, 3.2, f.Mix[0].Grams, 1e-9, "the list still tells the whole amount")
	})
	t.Run("no room for a soak", func(t *testing.T) {
		in := in
		in.RoomL = garden.Known(4.1)
		f, err := NewFeed(in)
		require.NoError(t, err)
		assert.Contains(t, strings.Join(f.Steps, "\n"), "Give no more water today")
		assert.Zero(t, f.HoseSeconds)
	})
	t.Run("refused", func(t *testing.T) {
		in := in
		in.VolumeL = 20
		_, err := NewFeed(in)
		require.ErrorContains(t, err, "over the limit")
		in.VolumeL, in.Recipe = 75, feed.Recipe{Litres: 4}
		_, err = NewFeed(in)
		require.ErrorContains(t, err, "nothing to mix")
		in.Recipe = recipe(t, 4)
		in.Recipe.PPM.N = 400
		_, err = NewFeed(in)
		require.ErrorContains(t, err, "over the limit")
	})
	t.Run("JSON", func(t *testing.T) {
		b, err := json.Marshal(f)
		require.NoError(t, err)
		for _, k := range []string{`"id":"feed-aubergine-7"`, `"litres":4`, `"hose_seconds":16`, `"grams":`, `"g_per_l":`} {
			assert.Contains(t, string(b), k)
		}
	})
}

func TestWaterTaskInWords(t *testing.T) {
	w, err := NewWater(WaterInput{Zone: "chard", Name: "the chard", Day: t0, Litres: 9, VolumeL: 50, HoseLPM: garden.Known(6), HoursLeft: garden.Known(5)})
	require.NoError(t, err)
	assert.Equal(t, "water-chard-20250602", w.ID)
	assert.Contains(t, w.Steps[0], "in 3 goes of 3.0 L (hold the hose for 30 seconds)")
	assert.Equal(t, t0.Add(5*time.Hour), w.Until)
	f, err := NewWater(WaterInput{Zone: "chard", Name: "the chard", Day: t0, Litres: 40, VolumeL: 50, Leach: true})
	require.NoError(t, err)
	assert.Equal(t, Flush, f.Kind)
	assert.Contains(t, strings.Join(f.Steps, "\n"), "Measure your hose")
	for _, l := range []float64{0, -1, 200, math.NaN(), math.Inf(1)} {
		_, err = NewWater(WaterInput{Zone: "chard", Litres: l, VolumeL: 50})
		require.Error(t, err)
	}
	assert.NotEmpty(t, NewMeasure(t0).Steps)
}

package control

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
)

// dried is a bench at an hour of a July day whose pot has lost a share of its band.
func dried(t *testing.T, hours []garden.DayWindow, hour float64, share float64, today garden.DayWeather) *bench {
	g := testGarden(1, 36)
	g.Supply.Hours = hours
	b := newBench(t, g)
	b.obs.Today = today
	b.now.Wall = time.Date(2014, 7, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(hour * float64(time.Hour)))
	z := &b.p.zones[0]
	b.mean[0] = float64(z.Capacity) - share*z.band(1)
	return b
}

func hot() garden.DayWeather {
	return garden.DayWeather{TMinC: garden.Known(22), TMaxC: garden.Known(38)}
}

func (b *bench) reasons() map[garden.ReasonCode]int {
	out := map[garden.ReasonCode]int{}
	for _, o := range b.log {
		out[o.Why.Code]++
	}
	return out
}

func TestWaterAheadOfClosedHours(t *testing.T) {
	morning := []garden.DayWindow{{From: 5 * time.Hour, To: 9 * time.Hour}}
	t.Run("a pot that would not last until watering opens again", func(t *testing.T) {
		b := dried(t, morning, 4.5, 0.6, hot())
		b.run(4*time.Hour + 29*time.Minute)
		require.Positive(t, b.reasons()[garden.BeforeClosedHours])
		first := b.log[0]
		assert.Equal(t, garden.BeforeClosedHours, first.Why.Code)
		assert.Less(t, first.Why.B, 20.0, "it would have lasted less than the closed hours")
		z := &b.p.zones[0]
		b.run(20 * time.Hour)
		assert.Greater(t, b.mean[0], float64(z.Refill)-0.01, "and comes through the day")
	})
	t.Run("one that lasts is left alone", func(t *testing.T) {
		b := dried(t, morning, 4.5, 0.3, garden.DayWeather{TMinC: garden.Known(10), TMaxC: garden.Known(15)})
		b.run(4*time.Hour + 29*time.Minute)
		assert.Empty(t, b.log)
	})
	t.Run("without closed hours nothing is hurried", func(t *testing.T) {
		b := dried(t, nil, 18, 0.6, garden.DayWeather{TMinC: garden.Known(18), TMaxC: garden.Known(26)})
		b.run(4 * time.Hour)
		assert.Empty(t, b.log)
	})
}

func TestWaterAheadOfTheHottestHours(t *testing.T) {
	// Solar noon is at 10:28 UTC at the test's longitude; the hottest hours begin
	// an hour earlier by the sun.
	t.Run("on a hot day", func(t *testing.T) {
		b := dried(t, nil, 5, 0.75, hot())
		b.run(5 * time.Hour)
		require.NotEmpty(t, b.log)
		assert.Equal(t, garden.BeforeHeat, b.log[0].Why.Code)
	})
	t.Run("not on a mild one", func(t *testing.T) {
		b := dried(t, nil, 5, 0.75, garden.DayWeather{TMinC: garden.Known(12), TMaxC: garden.Known(19)})
		b.run(5 * time.Hour)
		assert.Zero(t, b.reasons()[garden.BeforeHeat])
	})
	t.Run("nor where the pot lasts", func(t *testing.T) {
		b := dried(t, nil, 5, 0.3, hot())
		b.run(5 * time.Hour)
		assert.Zero(t, b.reasons()[garden.BeforeHeat])
	})
}

func TestRainThatIsDue(t *testing.T) {
	rain := hot()
	rain.RainMM = garden.Known(25)
	t.Run("nothing ahead of need while the pot can wait for it", func(t *testing.T) {
		for name, today := range map[string]garden.DayWeather{"dry": hot(), "rain due": rain} {
			b := dried(t, nil, 5, 0.75, today)
			b.obs.Now.RainMM = garden.Known(0) // the gauge: none yet
			b.run(4 * time.Hour)
			if name == "dry" {
				assert.Positive(t, b.reasons()[garden.BeforeHeat])
				continue
			}
			assert.Zero(t, b.reasons()[garden.BeforeHeat])
		}
	})
	t.Run("a refill leaves room for it", func(t *testing.T) {
		given := func(today garden.DayWeather) float64 {
			b := dried(t, nil, 20, 1.02, today)
			b.obs.Now.RainMM = garden.Known(0)
			b.run(6 * time.Hour)
			require.NotEmpty(t, b.log)
			return b.applied
		}
		z := newBench(t, testGarden(1, 36)).p.zones[0]
		dry, wet := given(hot()), given(rain)
		assert.Less(t, wet, 0.8*dry)
		assert.Greater(t, wet, 0.4*z.band(1)*z.VolumeL, "but fills half the band")
	})
	// The forecast says rain every day and none falls: the pot is watered at its
	// refill point as if nobody had said anything.
	t.Run("that never comes costs no water", func(t *testing.T) {
		least := func(today garden.DayWeather, ahead ...garden.DayWeather) float64 {
			b := dried(t, nil, 0, 0.2, today)
			b.obs.Ahead = ahead
			b.obs.Now.RainMM = garden.Known(0)
			lo := 1.0
			for range 8 * 24 * 60 {
				b.tick()
				lo = min(lo, b.mean[0])
			}
			return lo
		}
		z := newBench(t, testGarden(1, 36)).p.zones[0]
		promised := least(rain, rain)
		assert.Greater(t, promised, float64(z.Refill)-0.012, "under its refill point by no more than the time to notice")
		assert.Less(t, promised, float64(z.Refill)+0.02, "nothing was given ahead of need either")
	})
}

package sensors

import (
	"testing"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestRecalibrate: another curve counts from the next sample, the same one changes
// nothing, and what is wired in another way is refused.
func TestRecalibrate(t *testing.T) {
	t.Run("the same curve goes on as if nothing had happened", func(t *testing.T) {
		r, same := newRig(t, Options{}), newRig(t, Options{})
		for range 5 {
			r.at(1.8)
			same.at(1.8)
		}
		apply, err := r.s.Recalibrate(oneProbe())
		require.NoError(t, err)
		apply()
		for _, v := range []float64{1.8, 1.9, 3.25, 1.8, 1.8, 1.8, 1.8} {
			assert.Equal(t, same.at(v), r.at(v))
		}
	})
	t.Run("another offset counts at once and is no jump", func(t *testing.T) {
		r := newRig(t, Options{MaxFall: 0.01, MaxRise: 0.01})
		before := r.at(1.8)
		require.Equal(t, garden.Good, before.Quality)
		g := oneProbe()
		g.Mixes[0].Calibration.OffsetWater = 0.1
		apply, err := r.s.Recalibrate(g)
		require.NoError(t, err)
		still := r.at(1.8)
		assert.InDelta(t, float64(before.Water), float64(still.Water), 0.005, "nothing before it is applied")
		apply()
		after := r.at(1.8)
		assert.Equal(t, garden.Good, after.Quality, after.Fault.String())
		assert.InDelta(t, float64(before.Water)+0.1, float64(after.Water), 0.005)
	})
	t.Run("what is no curve or wired in another way changes nothing", func(t *testing.T) {
		for name, change := range map[string]func(*garden.Garden){
			"no curve": func(g *garden.Garden) {
				g.Mixes[0].Calibration.Points = g.Mixes[0].Calibration.Points[:1]
			},
			"channel": func(g *garden.Garden) { g.Pots[0].Zones[0].Probes[0].Input.Channel = 2 },
			"chip":    func(g *garden.Garden) { g.Pots[0].Zones[0].Probes[0].Input.Addr = 0x49 },
			"name":    func(g *garden.Garden) { g.Pots[0].Zones[0].Probes[0].ID = "other" },
			"more": func(g *garden.Garden) {
				z := &g.Pots[0].Zones[0]
				z.Probes = append(z.Probes, garden.Probe{ID: "more", Zone: "bean", Input: garden.Input{Addr: 0x48, Channel: 3}})
			},
		} {
			r := newRig(t, Options{})
			before := r.at(1.8)
			g := oneProbe()
			change(g)
			_, err := r.s.Recalibrate(g)
			require.Error(t, err, name)
			assert.InDelta(t, float64(before.Water), float64(r.at(1.8).Water), 0.005, name)
		}
	})
}

package season

import (
	"path/filepath"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/alarm"
	"fabricpot/control/garden"
	"fabricpot/sim/terrace"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestRestartBudget: after three crashes within ten minutes automatic control is
// off and says so, and dry pots still get their survival dose; orderly restarts
// and crashes far apart cost nothing, and a person turns it on again.
func TestRestartBudget(t *testing.T) {
	g := load(t, "crash.yaml", []byte(crashGarden))
	start := time.Date(2026, 7, 1, 5, 0, 0, 0, g.Site.Zone)
	rows := Climate(3, start, 5)
	volumes := map[garden.ZoneID]float64{}
	for _, p := range g.Pots {
		for _, z := range p.Zones {
			volumes[z.ID] = z.VolumeL(&p)
		}
	}
	for _, c := range []struct {
		name  string
		gap   time.Duration
		clean bool
		off   bool
	}{
		{"three crashes in ten minutes", 3 * time.Minute, false, true},
		{"three crashes in an hour", 20 * time.Minute, false, false},
		{"three orderly restarts", 3 * time.Minute, true, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			j, _, err := journal.Open(filepath.Join(t.TempDir(), "journal.db"), journal.WithClock("boot"))
			require.NoError(t, err)
			defer j.Close()
			ears := newEars()
			var b *Bench
			life := func() {
				b, err = NewBench(g, Options{Seed: 5, Start: start, Weather: rows, World: b, Tell: ears,
					Journal: runner.NewKeeper(j), History: j, Terrace: terrace.Options{StartSuctionCM: 60}})
				require.NoError(t, err)
				require.NoError(t, b.Begin())
			}
			life()
			for range 3 {
				require.False(t, b.State.AutoOff)
				b.RunTo(b.Clock.Now() + c.gap)
				if c.clean {
					b.End()
				}
				b.Die(true)
				life()
			}
			require.Equal(t, c.off, b.State.AutoOff)
			ears.ended = nil
			b.RunTo(b.Clock.Now() + 26*time.Hour)
			if !c.off {
				assert.Empty(t, ears.raised(alarm.ControlOff))
				return
			}
			raised := ears.raised(alarm.ControlOff)
			require.Len(t, raised, 1)
			assert.Contains(t, raised[0].Text, "crashed 3 times")
			// A terrace dead of thirst is no safe state.
			doses := map[garden.ZoneID]int{}
			for _, d := range ears.ended {
				assert.Equal(t, garden.Survival, d.Kind)
				assert.LessOrEqual(t, d.Litres, g.Limits.SurvivalShare*volumes[d.Zone]*1.01, "%s", d.Zone)
				doses[d.Zone]++
			}
			for zone := range volumes {
				assert.Contains(t, []int{1, 2}, doses[zone], "%s: one a day, in 26 hours", zone)
			}
			b.Loop.Ask(b.Moment(), garden.Ask{Kind: garden.AskAutoOn, Who: "test"})
			assert.False(t, b.State.AutoOff)
		})
	}
}

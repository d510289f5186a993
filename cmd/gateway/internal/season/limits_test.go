package season

import (
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
	"fabricpot/sim/terrace"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestALooserLimitWaitsThroughARestart: a start within the day of a reload that
// loosened a limit holds the old one for what is left of that day, as does one of the
// day after a start that first saw a changed file; the first start of all holds what
// the file says.
func TestALooserLimitWaitsThroughARestart(t *testing.T) {
	small := load(t, "crash.yaml", []byte(crashGarden))
	big := load(t, "crash.yaml", []byte(strings.ReplaceAll(crashGarden, "canopy: 0.4 m2", "canopy: 0.6 m2")))
	start := time.Date(2026, 7, 1, 5, 0, 0, 0, small.Site.Zone)
	for _, c := range []struct {
		name   string
		reload bool
		reboot bool
	}{{"reload, then a restart", true, false}, {"reload, then a reboot", true, true}, {"a changed file, then a start", false, false}} {
		t.Run(c.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "journal.db")
			var b *Bench
			life := func(g *garden.Garden, clock string) {
				j, _, err := journal.Open(path, journal.WithClock(clock))
				require.NoError(t, err)
				t.Cleanup(func() { _ = j.Close() })
				b, err = NewBench(g, Options{Seed: 5, Start: start, Weather: Climate(3, start, 5), World: b,
					Journal: runner.NewKeeper(j), History: j, Terrace: terrace.Options{StartSuctionCM: 10}})
				require.NoError(t, err)
				require.NoError(t, b.Begin())
			}
			capL := func() float64 {
				lines, _ := b.Guard.Snapshot(b.Moment())
				return lines[1].CapL
			}
			life(small, "boot one")
			old := capL()
			b.RunTo(2 * time.Hour)
			changed := b.Clock.Now()
			if c.reload {
				r, err := reloaded(b, big)
				require.NoError(t, err)
				require.NoError(t, b.Loop.Reload(b.Moment(), r))
				b.RunTo(5 * time.Hour)
			}
			clock := "boot one"
			for n := range 3 {
				b.Die(true)
				if c.reboot {
					clock += "+"
				}
				life(big, clock)
				assert.Equal(t, old, capL(), "start %d", n)
				b.RunTo(b.Clock.Now() + 3*time.Hour)
			}
			b.RunTo(changed + 24*time.Hour - 2*time.Minute)
			assert.Equal(t, old, capL())
			b.RunTo(changed + 24*time.Hour + 2*time.Minute)
			assert.Greater(t, capL(), old*1.1)

			first, err := NewBench(big, Options{Seed: 5, Start: start, Weather: Climate(3, start, 5)})
			require.NoError(t, err)
			lines, _ := first.Guard.Snapshot(first.Moment())
			assert.Equal(t, lines[1].CapL, capL())
		})
	}
}

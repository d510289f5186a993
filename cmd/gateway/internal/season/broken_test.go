package season

import (
	"bytes"
	"database/sql"
	"os"
	"path/filepath"
	"slices"
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

// TestBrokenJournalAtStart: the day's limit of a line is spent, somebody turned automatic
// control off, and the power cut that follows breaks the journal's file. Of one that
// nothing of can be read no line gives more than its survival dose in the day after the
// start; of one that only lost samples nobody gets past the limit, and what was asked
// for holds. People are told at once, over starts and once alone, and a day later a
// line has its limit again.
func TestBrokenJournalAtStart(t *testing.T) {
	g := load(t, "crash.yaml", []byte(crashGarden))
	start := time.Date(2026, 7, 1, 5, 0, 0, 0, g.Site.Zone)
	for _, c := range []struct {
		name     string
		breaks   func(t *testing.T, path string)
		readable bool
	}{
		{"nothing can be read", func(t *testing.T, path string) {
			require.NoError(t, os.WriteFile(path, make([]byte, 8192), 0o600))
		}, false},
		{"samples are lost", func(t *testing.T, path string) { breakPages(t, path, "recent_samples") }, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "journal.db")
			var b *Bench
			var keeper *runner.Keeper
			var aside string
			ears := newEars()
			life := func(clock string) {
				j, why, err := journal.Open(path, journal.WithClock(clock))
				require.NoError(t, err)
				keeper, aside = runner.NewKeeper(j), why
				up := time.Duration(0)
				if b != nil {
					up = time.Minute
				}
				b, err = NewBench(g, Options{Seed: 5, Start: start, Weather: Climate(3, start, 7), World: b, SinceBoot: up, Tell: ears, Watched: true,
					Journal: keeper, History: keeper, Terrace: terrace.Options{StartSuctionCM: 60, SupplyDroop: garden.Known(0), EmitterSpread: garden.Known(0)}})
				require.NoError(t, err)
				require.NoError(t, b.Begin())
			}
			hour := func(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }
			ask := func(times int) {
				for range times {
					b.Loop.Ask(b.Moment(), garden.Ask{Kind: garden.AskWater, Zone: "plain", Litres: 40, Who: "hub"})
					b.RunTo(b.Clock.Now() + 20*time.Minute)
				}
			}
			line := func() (capL, doseL float64) {
				lines, _ := b.Guard.Snapshot(b.Moment())
				for _, s := range lines {
					if s.Line == "plain" {
						return s.CapL, s.DoseL
					}
				}
				t.Fatal("no such line")
				return 0, 0
			}
			got := func() float64 { return b.Terrace.LineLitres("plain") }

			life("boot a")
			capL, doseL := line()
			ask(40)
			spent := got()
			require.InDelta(t, capL, spent, doseL, "the day's limit is spent")
			b.Loop.Ask(b.Moment(), garden.Ask{Kind: garden.AskAutoOff, Who: "test"})
			b.RunTo(b.Clock.Now() + 5*time.Minute)
			b.Die(true)
			require.NoError(t, keeper.Journal.Close())
			c.breaks(t, path)
			b.Clock.RunUntil(b.Clock.Now() + 10*time.Minute)
			broke := b.Clock.Now()

			for n := range 3 {
				life([]string{"boot b", "boot b", "boot c"}[n])
				assert.Equal(t, n == 0, aside != "", "life %d", n)
				held, _ := line()
				assert.Equal(t, doseL, held, "life %d", n)
				assert.Equal(t, c.readable, b.State.AutoOff, "life %d", n)
				b.RunTo(b.Clock.Now() + 30*time.Minute)
				if n == 0 {
					raised := ears.raised(alarm.JournalBroken)
					require.Len(t, raised, 1)
					assert.Less(t, raised[0].At.Mono-broke, 2*time.Minute)
					assert.Contains(t, raised[0].Text, path+".broken-")
					assert.Contains(t, raised[0].Text, map[bool]string{true: "could be read", false: "nothing of it can be read"}[c.readable])
				}
				b.Die(true)
				require.NoError(t, keeper.Journal.Close())
			}
			life("boot c")
			ask(24) // until before the first of what was given is a day old
			require.Less(t, b.Clock.Now(), hour(24))
			after := got() - spent
			t.Logf("limit %.2f L, spent %.2f L; survival dose %.2f L, given after %.2f L", capL, spent, doseL, after)
			if c.readable {
				assert.Zero(t, after, "the limit was known to be spent")
			} else {
				assert.Positive(t, after, "a terrace dead of thirst is no safe state")
				assert.LessOrEqual(t, after, doseL*1.01)
			}
			assert.Len(t, ears.raised(alarm.JournalBroken), 1, "told once")
			for _, a := range ears.raised(alarm.CapReached) {
				assert.Less(t, a.At.Mono, broke, "it follows from that")
			}
			stands := func() bool {
				return slices.ContainsFunc(b.Loop.Status().Alarms, func(a runner.AlarmLine) bool {
					return a.Name == alarm.JournalBroken.String() && a.Active
				})
			}
			b.RunTo(broke + hour(23))
			held, _ := line()
			assert.Equal(t, doseL, held)
			assert.True(t, stands(), "for as long as its limits hold, over starts too")
			b.RunTo(broke + hour(26))
			assert.False(t, stands(), "and no longer")
			held, _ = line()
			assert.Equal(t, capL, held)
			assert.Equal(t, c.readable, b.State.AutoOff)
			b.End()
			require.NoError(t, keeper.Close())
		})
	}
}

// breakPages overwrites the first page of a table.
func breakPages(t *testing.T, path, table string) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	require.NoError(t, err)
	var root, page int64
	require.NoError(t, db.QueryRow("SELECT rootpage FROM sqlite_schema WHERE name=?", table).Scan(&root))
	require.NoError(t, db.QueryRow("PRAGMA page_size").Scan(&page))
	require.NoError(t, db.Close())
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	require.NoError(t, err)
	_, err = f.WriteAt(bytes.Repeat([]byte{0xA5}, int(page)), (root-1)*page)
	require.NoError(t, err)
	require.NoError(t, f.Close())
}

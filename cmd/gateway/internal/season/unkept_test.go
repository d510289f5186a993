package season

import (
	"fmt"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/cmd/gateway/internal/smallcard"
	"fabricpot/control/alarm"
	"fabricpot/control/garden"
	"fabricpot/sim/terrace"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestBrokenCardAtStart: a gateway that finds its card read-only gives each line
// its few survival doses and no more, feeds nothing, and says so.
func TestBrokenCardAtStart(t *testing.T) {
	why := fmt.Errorf("journal /var/lib/x: %w", syscall.EROFS)
	assert.True(t, journal.CardFault(why))
	assert.False(t, journal.CardFault(fmt.Errorf("journal /var/lib/x: %w", syscall.EACCES)))
	_, _, err := journal.Open("/proc/nothing/journal.db")
	require.Error(t, err)

	g := load(t, "crash.yaml", []byte(crashGarden))
	start := time.Date(2026, 7, 1, 5, 0, 0, 0, g.Site.Zone)
	j, _, err := journal.Open(filepath.Join(t.TempDir(), "journal.db"))
	require.NoError(t, err)
	keeper := runner.NewUnkept(j, why)
	defer keeper.Close()
	ears := newEars()
	b, err := NewBench(g, Options{Seed: 5, Start: start, Weather: Climate(3, start, 7), Tell: ears,
		Journal: keeper, History: j, Terrace: terrace.Options{StartSuctionCM: 60}})
	require.NoError(t, err)
	require.NoError(t, b.Begin())
	b.RunTo(5 * 24 * time.Hour)
	b.End()
	given := map[garden.LineID]float64{}
	for _, d := range ears.ended {
		given[d.Line] += d.Litres
		assert.NotEqual(t, garden.Feeding, d.Kind)
	}
	lines, _ := b.Guard.Snapshot(b.Moment())
	for _, l := range lines {
		assert.Positive(t, given[l.Line], "line %s", l.Line)
		assert.Greater(t, given[l.Line], float64(g.Limits.NoJournalDoses)*l.DoseL, "line %s", l.Line)
		assert.LessOrEqual(t, given[l.Line], float64(g.Limits.NoJournalDoses+4)*l.DoseL+0.01, "line %s: one a day more", l.Line)
	}
	raised := ears.raised(alarm.JournalUnwritable)
	require.NotEmpty(t, raised)
	assert.Less(t, raised[0].At.Mono, 5*time.Minute)
}

// TestBrokenCardOverLives: lives that are killed one after the other on a card that
// can't be read give no more than one life does.
func TestBrokenCardOverLives(t *testing.T) {
	g := load(t, "crash.yaml", []byte(crashGarden))
	start := time.Date(2026, 7, 1, 5, 0, 0, 0, g.Site.Zone)
	why := fmt.Errorf("journal /var/lib/x: %w", syscall.EROFS)
	for _, each := range []time.Duration{20 * time.Minute, 2 * time.Hour, 5 * time.Hour} {
		t.Run(each.String(), func(t *testing.T) {
			dir := t.TempDir()
			var b *Bench
			var j *journal.Journal
			life := func() {
				var err error
				j, _, err = journal.Open(filepath.Join(dir, "unkept.db"), journal.WithClock("boot"))
				require.NoError(t, err)
				k := runner.NewUnkept(j, why)
				beside, err := journal.OpenBeside(filepath.Join(dir, "unwritten.json"), "boot")
				require.NoError(t, err)
				require.NoError(t, k.KeepBeside(beside))
				now := time.Duration(0)
				if b != nil {
					now = b.Clock.Now()
				}
				b, err = NewBench(g, Options{Seed: 5, Start: start, Weather: Climate(3, start, 7), World: b, SinceBoot: now,
					Journal: k, History: k, Terrace: terrace.Options{StartSuctionCM: 60, SupplyDroop: garden.Known(0), EmitterSpread: garden.Known(0)}})
				require.NoError(t, err)
				require.NoError(t, b.Begin())
			}
			life()
			for b.Clock.Now() < 40*time.Hour {
				b.RunTo(b.Clock.Now() + each)
				b.Die(true)
				require.NoError(t, j.Close())
				life()
			}
			defer j.Close()
			lines, _ := b.Guard.Snapshot(b.Moment())
			for _, l := range lines {
				got := b.Terrace.LineLitres(l.Line)
				assert.Positive(t, got, "line %s", l.Line)
				most := float64(g.Limits.NoJournalDoses+1) * l.DoseL
				t.Logf("line %s: %.2f of %.2f L", l.Line, got, most)
				assert.LessOrEqual(t, got, most+0.01, "line %s: one more on the second day", l.Line)
			}
		})
	}
}

// TestCardTurnsReadOnly: a gateway whose card the kernel turns read-only under its open
// journal says so within minutes, gives each line its few survival doses and then one a
// day, and feeds nothing; the gateway after it knows all that was given before.
func TestCardTurnsReadOnly(t *testing.T) { smallcard.Failing(t, cardTurnsReadOnly) }

func cardTurnsReadOnly(t *testing.T, c *smallcard.Card) {
	g := load(t, "crash.yaml", []byte(crashGarden))
	start := time.Date(2026, 7, 1, 5, 0, 0, 0, g.Site.Zone)
	path := filepath.Join(c.Dir, "journal.db")
	var b *Bench
	var keeper *runner.Keeper
	ears := newEars()
	life := func() {
		j, aside, err := journal.Open(path, journal.WithClock("boot"))
		require.NoError(t, err)
		require.Empty(t, aside)
		keeper = runner.NewKeeper(j)
		now := time.Duration(0)
		if b != nil {
			now = b.Clock.Now()
		}
		b, err = NewBench(g, Options{Seed: 5, Start: start, Weather: Climate(3, start, 9), World: b, SinceBoot: now, Tell: ears,
			Journal: keeper, History: keeper, Terrace: terrace.Options{StartSuctionCM: 60, SupplyDroop: garden.Known(0), EmitterSpread: garden.Known(0)}})
		require.NoError(t, err)
		require.NoError(t, b.Begin())
	}
	days := 8
	if testing.Short() {
		days = 3 // not long enough for the doses after the first few
	}
	life()
	b.RunTo(6 * time.Hour)
	require.Empty(t, ears.raised(alarm.JournalUnwritable))
	before := map[garden.LineID]float64{}
	for _, d := range ears.ended {
		before[d.Line] += d.Litres
	}
	failed := b.Clock.Now()
	c.Fail(t)
	b.RunTo(time.Duration(days) * 24 * time.Hour)

	raised := ears.raised(alarm.JournalUnwritable)
	require.Len(t, raised, 1)
	assert.Less(t, raised[0].At.Mono-failed, 15*time.Minute, "samples are written every ten rounds")
	t.Logf("told after %v: %s", raised[0].At.Mono-failed, raised[0].Text)
	lines, _ := b.Guard.Snapshot(b.Moment())
	for _, l := range lines {
		// What was open when it failed is before it: its intent was kept.
		after := 0.0
		for _, d := range ears.ended {
			if d.Line == l.Line && d.OpenedAt.Mono >= failed {
				after += d.Litres
				assert.NotEqual(t, garden.Feeding, d.Kind)
			}
		}
		most := float64(g.Limits.NoJournalDoses+days-1) * l.DoseL
		t.Logf("line %s: %.2f L before, %.2f of %.2f L after", l.Line, before[l.Line], after, most)
		assert.Positive(t, before[l.Line], "line %s", l.Line)
		assert.Positive(t, after, "line %s", l.Line)
		assert.LessOrEqual(t, after, most+0.01, "line %s", l.Line)
		assert.True(t, days < 8 || after > float64(g.Limits.NoJournalDoses+1)*l.DoseL, "line %s", l.Line)
	}
	b.Die(true)
	_ = keeper.Journal.Close() // it can't be checkpointed
	c.Again(t)
	life()
	defer keeper.Close()
	past, err := keeper.Journal.DeliveriesSince(start)
	require.NoError(t, err)
	known := map[garden.LineID]float64{}
	for _, d := range past {
		known[d.Line] += d.Litres
	}
	for id, litres := range before {
		assert.GreaterOrEqual(t, known[id], litres-1e-9, "line %s", id)
	}
}

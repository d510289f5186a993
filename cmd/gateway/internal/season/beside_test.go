package season

import (
	"path/filepath"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
	"fabricpot/sim/terrace"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// fullCard is a keeper whose card can't be written while it is so.
type fullCard struct {
	*runner.Keeper
	full *bool
}

func (f fullCard) Intend(o garden.Order, most float64, at garden.Moment) error {
	if *f.full {
		return errCard
	}
	return f.Keeper.Intend(o, most, at)
}

func (f fullCard) Raise(id garden.OrderID, most float64) error {
	if *f.full {
		return errCard
	}
	return f.Keeper.Raise(id, most)
}

func (f fullCard) Settle(d garden.Delivery) error {
	if *f.full {
		return errCard
	}
	return f.Keeper.Settle(d)
}

// TestKilledWithoutAJournal: a gateway is killed while its card can't be written, in
// the middle of a dose whose coil stays driven, or after one; the next finds the card
// mended, or as it was, and the one after that mended. The account is never below the
// water, and over it by no more than what a dose that was cut off could have been.
func TestKilledWithoutAJournal(t *testing.T) {
	g := load(t, "crash.yaml", []byte(crashGarden))
	start := time.Date(2026, 7, 1, 5, 0, 0, 0, g.Site.Zone)
	for _, c := range []struct {
		name string
		// after is how long after the dose began it is killed, down how long nobody
		// lives then.
		after, down time.Duration
		release     bool
		fullAgain   bool
	}{
		{"in a dose, coil driven for an hour", 2 * time.Minute, time.Hour, false, false},
		{"in a dose, coil driven, card still full", 2 * time.Minute, time.Hour, false, true},
		{"in a dose, coil released", 2 * time.Minute, time.Minute, true, false},
		{"hours after a dose", 3 * time.Hour, time.Hour, false, false},
		{"hours after a dose, card still full", 3 * time.Hour, time.Hour, false, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			full := false
			var b *Bench
			life := func() {
				j, _, err := journal.Open(filepath.Join(dir, "journal.db"), journal.WithClock("boot"))
				require.NoError(t, err)
				t.Cleanup(func() { _ = j.Close() })
				k := runner.NewKeeper(j)
				beside, err := journal.OpenBeside(filepath.Join(dir, "unwritten.json"), "boot")
				require.NoError(t, err)
				require.NoError(t, k.KeepBeside(beside))
				now := time.Duration(0)
				if b != nil {
					now = b.Clock.Now()
				}
				b, err = NewBench(g, Options{Seed: 5, Start: start, Weather: Climate(3, start, 5), World: b, SinceBoot: now,
					Journal: fullCard{k, &full}, History: k, Terrace: terrace.Options{StartSuctionCM: 60, SupplyDroop: garden.Known(0), EmitterSpread: garden.Known(0)}})
				require.NoError(t, err)
				require.NoError(t, b.Begin())
			}
			pin := func() bool { return b.Wires.Pin("plain").Energised() }
			life()
			b.RunTo(4 * time.Hour)
			for pin() {
				b.RunTo(b.Clock.Now() + time.Minute)
			}
			require.Positive(t, b.Terrace.LineLitres("plain"))
			full = true
			b.Loop.Ask(b.Moment(), garden.Ask{Kind: garden.AskWater, Zone: "plain", Litres: 4, Who: "test"})
			for !pin() {
				b.RunTo(b.Clock.Now() + 10*time.Second)
			}
			b.RunTo(b.Clock.Now() + c.after)
			require.Equal(t, c.after < time.Hour, pin())
			b.Die(c.release)
			b.Clock.RunUntil(b.Clock.Now() + c.down)
			b.Wires.Advance()
			full = c.fullAgain
			life()
			lines, _ := b.Guard.Snapshot(b.Moment())
			got := b.Terrace.LineLitres("plain")
			assert.LessOrEqual(t, got, lines[1].SpentL+1e-6, "charged against the day's limit")
			if c.fullAgain {
				b.RunTo(b.Clock.Now() + 5*time.Minute)
				b.Die(true)
				full = false
				life()
			}
			require.NoError(t, b.Guard.Flush())
			assert.NoFileExists(t, filepath.Join(dir, "unwritten.json"), "the journal has it")
			j, _, err := journal.Open(filepath.Join(dir, "journal.db"), journal.WithClock("reader"))
			require.NoError(t, err)
			defer j.Close()
			left, err := j.Unfinished()
			require.NoError(t, err)
			require.Empty(t, left)
			given, err := j.DeliveriesSince(start.Add(-time.Hour))
			require.NoError(t, err)
			got, said := b.Terrace.LineLitres("plain"), ran{given: given}.account("plain")
			assert.LessOrEqual(t, got, said+1e-6, "the account is below the water")
			assert.LessOrEqual(t, said-got, lines[1].DoseL+1e-6, "an hour that was not open is no water")
		})
	}
}

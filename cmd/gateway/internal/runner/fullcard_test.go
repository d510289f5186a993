package runner

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/smallcard"
	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestAFullCardOverLives: a journal that opens and takes nothing keeps no start and no
// request either. Both are remembered beside it, so that crashes are counted and what a
// person kept shut stays so, and the journal gets what was asked once there is room.
func TestAFullCardOverLives(t *testing.T) { smallcard.On(t, "2m", fullCardOverLives) }

func fullCardOverLives(t *testing.T, card string) {
	beside := filepath.Join(t.TempDir(), "unwritten.json")
	at := func(m int) garden.Moment {
		d := time.Duration(m) * time.Minute
		return garden.Moment{Mono: d, Wall: time.Date(2031, 6, 1, 0, 0, 0, 0, time.UTC).Add(d), Synced: true}
	}
	life := func() *Keeper {
		t.Helper()
		j, aside, err := journal.Open(filepath.Join(card, "j.db"), journal.WithClock("boot"))
		require.NoError(t, err)
		require.Empty(t, aside)
		k := NewKeeper(j)
		b, err := journal.OpenBeside(beside, "boot")
		require.NoError(t, err)
		require.NoError(t, k.KeepBeside(b))
		return k
	}
	shut := func(k *Keeper, m int) (zones []garden.ZoneID) {
		t.Helper()
		all, err := k.Standing(at(m).Wall)
		require.NoError(t, err)
		for _, a := range all {
			zones = append(zones, a.Zone)
		}
		return zones
	}
	k := life()
	past, err := k.Started(at(0), crashSpan)
	require.NoError(t, err)
	require.Zero(t, past)
	ballast := filepath.Join(card, "ballast")
	smallcard.Brim(t, ballast)
	for id := garden.OrderID(1); err == nil; id++ {
		err = k.Intend(garden.Order{ID: id, Line: "a", Zone: "a", Litres: 1, MaxOn: time.Minute}, 1, at(0))
	}
	require.Error(t, k.Asked(at(1), garden.Ask{Kind: garden.AskShut, Zone: "a", Until: at(2000)}))
	for n := 1; n <= 3; n++ {
		k = life() // and the one before is killed
		assert.Equal(t, []garden.ZoneID{"a"}, shut(k, 2*n), "life %d", n)
		past, err = k.Started(at(2*n), crashSpan)
		require.ErrorAs(t, err, new(notedBeside))
		assert.Equal(t, n, past.Crashes)
	}
	require.Error(t, k.KeepSpent(at(7)))
	k = life()
	spent, ok, err := k.Spent(at(8))
	require.NoError(t, err)
	assert.True(t, ok, "the restart budget, beside")
	assert.Equal(t, journal.Spent{Ago: time.Minute, Known: true}, spent)
	spent.Crashes = 2
	require.Error(t, k.CountSpent(at(8), spent))
	k = life()
	spent, _, err = k.Spent(at(9))
	require.NoError(t, err)
	assert.Equal(t, 2, spent.Crashes)
	_, err = k.Started(at(9), crashSpan)
	require.Error(t, err)
	require.NoError(t, k.Stopped(), "in good order")
	k = life()
	past, err = k.Started(at(8), crashSpan)
	require.Error(t, err)
	assert.Equal(t, 3, past.Crashes)

	require.NoError(t, os.Remove(ballast))
	require.NoError(t, k.Asked(at(9), garden.Ask{Kind: garden.AskShut, Zone: "b", Until: at(2000)}), "once there is room")
	require.NoError(t, k.CountSpent(at(9), spent))
	spent, ok, err = k.Journal.Spent(at(10))
	require.NoError(t, err)
	assert.True(t, ok, "that too")
	assert.Equal(t, journal.Spent{Ago: 3 * time.Minute, Known: true, Crashes: 2}, spent)
	kept, err := k.Journal.Standing(at(10).Wall)
	require.NoError(t, err)
	require.Len(t, kept, 2)
	assert.Equal(t, garden.ZoneID("a"), kept[0].Zone, "in the order they were asked")
	require.NoError(t, k.Journal.Close())
	k = life()
	assert.Equal(t, []garden.ZoneID{"a", "b"}, shut(k, 30))
	past, err = k.Started(at(30), crashSpan)
	require.NoError(t, err)
	assert.Equal(t, journal.Starts{Crashes: 1, Crashed: true}, past, "the one of minute 8 ended some time until now")
	assert.NoFileExists(t, beside)
	require.NoError(t, k.Close())
}

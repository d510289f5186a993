package runner

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestUnkeptIsRememberedBeside: what a gateway gave whose journal could not even be
// opened comes into the journal of the next that can open it, under numbers that are
// nobody else's there.
func TestUnkeptIsRememberedBeside(t *testing.T) {
	dir := t.TempDir()
	at := func(d time.Duration) garden.Moment {
		return garden.Moment{Mono: d, Wall: time.Date(2031, 6, 1, 0, 0, 0, 0, time.UTC).Add(d), Synced: true}
	}
	keeper := func(name string, why error) *Keeper {
		j, _, err := journal.Open(filepath.Join(dir, name), journal.WithClock("boot"))
		require.NoError(t, err)
		t.Cleanup(func() { _ = j.Close() })
		k := NewKeeper(j)
		if why != nil {
			k = NewUnkept(j, why)
		}
		b, err := journal.OpenBeside(filepath.Join(dir, "unwritten.json"), "boot")
		require.NoError(t, err)
		require.NoError(t, k.KeepBeside(b))
		return k
	}
	order := func(id garden.OrderID) garden.Order {
		return garden.Order{ID: id, Line: "a", Zone: "a", Litres: 1, MaxOn: 10 * time.Minute}
	}
	given := func(id garden.OrderID, h int) garden.Delivery {
		return garden.Delivery{Order: id, Line: "a", Zone: "a", Litres: float64(id), Open: time.Minute, OpenedAt: at(time.Duration(h) * time.Hour), ClosedAt: at(time.Duration(h)*time.Hour + time.Minute)}
	}

	real := keeper("journal.db", nil)
	for id := garden.OrderID(1); id <= 3; id++ {
		require.NoError(t, real.Intend(order(id), 1, at(0)))
		require.NoError(t, real.Settle(given(id, int(id))))
	}
	require.NoError(t, real.Journal.Close())

	why := errors.New("read-only file system")
	for run, name := range []string{"memory-1.db", "memory-2.db"} {
		k := keeper(name, why)
		last, err := k.LastOrderID()
		require.NoError(t, err)
		require.Equal(t, garden.OrderID(2*run), last, "an earlier run's numbers are taken")
		require.ErrorIs(t, k.Intend(order(last+1), 1, at(5*time.Hour)), why)
		require.NoError(t, k.IntendBeside(order(last+1), 1, at(5*time.Hour)))
		require.NoError(t, k.Settle(given(last+1, 6)))
		require.NoError(t, k.IntendBeside(order(last+2), 1, at(7*time.Hour)))
		past, err := k.Recent(at(8 * time.Hour))
		require.NoError(t, err)
		assert.Len(t, past, run+1)
	}

	real = keeper("journal.db", nil)
	left, err := real.Unfinished()
	require.NoError(t, err)
	require.Len(t, left, 2)
	past, err := real.Recent(at(8 * time.Hour))
	require.NoError(t, err)
	require.Len(t, past, 5)
	for i, d := range past {
		assert.Equal(t, i >= 3, d.Unwritten)
		assert.True(t, d.SameClock)
		if d.Unwritten {
			assert.Greater(t, d.Order, garden.OrderID(3))
			require.NoError(t, real.Settle(d.Delivery))
		}
	}
	for _, u := range left {
		d := given(u.Order.ID, 8)
		d.End = garden.Unfinished
		require.NoError(t, real.Settle(d))
	}
	all, err := real.Journal.Recent(at(9 * time.Hour))
	require.NoError(t, err)
	assert.Len(t, all, 7)
	assert.NoFileExists(t, filepath.Join(dir, "unwritten.json"))
}

// TestAskedWhileTheFileBesideCannotForget: a request comes into the journal at once
// though the file beside it still has an earlier one and can't be written, and is the
// later word once that can be.
func TestAskedWhileTheFileBesideCannotForget(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "run")
	require.NoError(t, os.Mkdir(dir, 0o700))
	at := func(h int) garden.Moment {
		d := time.Duration(h) * time.Hour
		return garden.Moment{Mono: d, Wall: time.Date(2031, 6, 1, 0, 0, 0, 0, time.UTC).Add(d), Synced: true}
	}
	j, _, err := journal.Open(filepath.Join(t.TempDir(), "j.db"), journal.WithClock("boot"))
	require.NoError(t, err)
	defer j.Close()
	life := func() *Keeper {
		t.Helper()
		b, err := journal.OpenBeside(filepath.Join(dir, "unwritten.json"), "boot")
		require.NoError(t, err)
		k := NewKeeper(j)
		require.NoError(t, k.KeepBeside(b))
		return k
	}
	k := life()
	require.NoError(t, k.IntendBeside(garden.Order{ID: 1, Line: "a", Zone: "a", Litres: 1, MaxOn: time.Minute}, 1, at(0)))
	require.NoError(t, k.beside.Ask(at(0), garden.Ask{Kind: garden.AskRelease, Zone: "a"}))
	require.NoError(t, os.Rename(dir, dir+"-away"))
	_, err = k.Standing(at(1).Wall)
	require.NoError(t, err) // the journal took the release, the file has it still
	require.ErrorIs(t, k.Asked(at(1), garden.Ask{Kind: garden.AskShut, Zone: "a", Until: at(48)}), fs.ErrNotExist)
	kept, err := j.Standing(at(2).Wall)
	require.NoError(t, err)
	assert.Len(t, kept, 1)

	require.NoError(t, os.Rename(dir+"-away", dir))
	require.NoError(t, k.Asked(at(2), garden.Ask{Kind: garden.AskAutoOn}))
	kept, err = life().Standing(at(3).Wall)
	require.NoError(t, err)
	require.Len(t, kept, 1, "shut since")
	assert.Equal(t, garden.ZoneID("a"), kept[0].Zone)
}

package journal

import (
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// sector is what a card writes whole, bytes: a power cut tears between sectors,
// and those not yet synced may have reached it in any order (from memory).
const sector = 512

// TestTornWrites cuts the power within every write of a row of intents and
// outcomes: what had been acknowledged is there afterwards, what had not is there
// whole or not at all, and no journal is put aside for it.
func TestTornWrites(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "j.db")
	j := open(t, path, WithClock("boot a"))
	size := func() int {
		st, err := os.Stat(path + "-wal")
		require.NoError(t, err)
		return int(st.Size())
	}
	// kept[i] is the length of the log once i operations were acknowledged.
	kept := []int{size()}
	const orders = 12
	for id := garden.OrderID(1); id <= orders; id++ {
		at0 := time.Duration(id) * time.Hour
		require.NoError(t, j.Intend(order(id), 2, at(at0)))
		kept = append(kept, size())
		require.NoError(t, j.Settle(delivery(id, at0)))
		kept = append(kept, size())
	}
	base, err := os.ReadFile(path)
	require.NoError(t, err)
	log, err := os.ReadFile(path + "-wal")
	require.NoError(t, err)
	require.Len(t, log, kept[len(kept)-1])
	require.NoError(t, j.Close())

	rng := rand.New(rand.NewPCG(3, 5))
	cuts := 0
	for done := range len(kept) - 1 {
		from, to := kept[done], kept[done+1]
		require.Greater(t, to, from, "each operation is a write of its own")
		for range 6 {
			torn := append([]byte(nil), log[:from+rng.IntN(to-from)]...)
			// Of what was not synced some sectors are not there, or are rubbish.
			for at := (from + sector - 1) / sector * sector; at+sector <= len(torn); at += sector {
				switch rng.IntN(4) {
				case 0:
					clear(torn[at : at+sector])
				case 1:
					for i := range sector {
						torn[at+i] = byte(rng.Uint32())
					}
				}
			}
			cuts++
			name := filepath.Join(dir, fmt.Sprintf("cut-%d.db", cuts))
			require.NoError(t, os.WriteFile(name, base, 0o600))
			require.NoError(t, os.WriteFile(name+"-wal", torn, 0o600))
			back, aside, err := Open(name, WithClock("boot a"))
			require.NoError(t, err)
			require.Empty(t, aside, "operation %d cut at %d", done+1, len(torn))
			open, err := back.Unfinished()
			require.NoError(t, err)
			past, err := back.Recent(at((orders + 1) * time.Hour))
			require.NoError(t, err)
			// Each order is an intent and then an outcome.
			found := 2*len(past) + len(open)
			assert.GreaterOrEqual(t, found, done, "acknowledged and gone: operation %d cut at %d of %d", done+1, len(torn), to)
			assert.LessOrEqual(t, found, done+1)
			require.LessOrEqual(t, len(open), 1)
			require.NoError(t, back.Intend(order(orders+1), 2, at((orders+2)*time.Hour)), "and it goes on")
			require.NoError(t, back.Close())
		}
	}
	assert.Greater(t, cuts, 100)
}

// TestFullCard fills a small file system under a journal: the error is told as
// the card's, nothing acknowledged is lost, and once there is room it goes on.
func TestFullCard(t *testing.T) { onSmallCard(t, fullCard) }

func fullCard(t *testing.T, dir string) {
	path := filepath.Join(dir, "j.db")
	j, _, err := Open(path, WithClock("boot a"))
	require.NoError(t, err)
	defer j.Close()
	ballast := filepath.Join(dir, "ballast")
	brim(t, ballast)

	last := garden.OrderID(0)
	for id := garden.OrderID(1); err == nil && id < 5000; id++ {
		if err = j.Intend(order(id), 2, at(time.Duration(id)*time.Second)); err == nil {
			last = id
		}
	}
	require.Error(t, err, "the card never filled")
	assert.True(t, CardFault(errors.Unwrap(err)) || CardFault(err), "%v", err)
	assert.ErrorContains(t, err, "full")
	open, err := j.Unfinished()
	require.NoError(t, err, "it can still be read")
	assert.Len(t, open, int(last))

	require.NoError(t, os.Remove(ballast))
	require.NoError(t, j.Intend(order(last+2), 2, at(48*time.Hour)), "once there is room")
	require.NoError(t, j.Close())
	back, aside, err := Open(path, WithClock("boot a"))
	require.NoError(t, err)
	defer back.Close()
	require.Empty(t, aside)
	open, err = back.Unfinished()
	require.NoError(t, err)
	assert.Len(t, open, int(last)+1)
}

// brim writes until there is no more room but for a little.
func brim(t *testing.T, path string) {
	t.Helper()
	f, err := os.Create(path)
	require.NoError(t, err)
	_, err = io.Copy(f, zeros{})
	require.Error(t, err)
	st, err := f.Stat()
	require.NoError(t, err)
	require.NoError(t, f.Truncate(st.Size()-64<<10))
	require.NoError(t, f.Close())
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) { clear(p); return len(p), nil }

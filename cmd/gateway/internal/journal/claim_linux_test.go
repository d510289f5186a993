package journal

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestAlone: one of two has the journal, the other is told, and who was refused does the first
// no harm. flock(2).
func TestAlone(t *testing.T) {
	path := filepath.Join(t.TempDir(), "j.db")
	one := open(t, path, Alone())
	_, _, err := Open(path, Alone())
	require.ErrorIs(t, err, ErrInUse)
	require.ErrorContains(t, err, path)
	require.NoError(t, one.Intend(order(1), 2, at(0)))
	require.NoError(t, one.Close())
	again := open(t, path, Alone())
	last, err := again.LastOrderID()
	require.NoError(t, err)
	assert.EqualValues(t, 1, last)
}

// TestAloneDamaged: a journal that another has is not set aside by a second start that finds
// it damaged, nor is anything begun in its place; once it is free it is, and the fresh one
// is the second's alone.
func TestAloneDamaged(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "j.db")
	one := open(t, path, Alone())
	require.NoError(t, one.Intend(order(1), 2, at(0)))
	// All into the file itself, and then a broken page in it.
	_, err := one.full.Exec("PRAGMA wal_checkpoint(TRUNCATE)")
	require.NoError(t, err)
	whole, err := os.ReadFile(path)
	require.NoError(t, err)
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	require.NoError(t, err)
	for at := int64(4096); at < int64(len(whole)); at += 4096 {
		_, err = f.WriteAt(make([]byte, 512), at)
		require.NoError(t, err)
	}
	require.NoError(t, f.Close())
	_, _, err = Open(path, Alone())
	require.ErrorIs(t, err, ErrInUse)
	aside, err := filepath.Glob(path + ".broken*")
	require.NoError(t, err)
	require.Empty(t, aside)

	_ = one.Close() // its file is broken
	two, why, err := Open(path, Alone())
	require.NoError(t, err)
	require.Contains(t, why, "was broken")
	_, _, err = Open(path, Alone())
	require.ErrorIs(t, err, ErrInUse)
	require.NoError(t, two.Close())
}

package main

import (
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestBackupAndRestore(t *testing.T) {
	dir := t.TempDir()
	db, socket := filepath.Join(dir, "journal.db"), filepath.Join(dir, "s")
	j, _, err := journal.Open(db)
	require.NoError(t, err)
	at := garden.Moment{Wall: time.Date(2031, 6, 1, 5, 0, 0, 0, time.UTC), Synced: true}
	require.NoError(t, j.Intend(garden.Order{ID: 1, Line: "chilli", Litres: 1}, 2, at))
	folder := filepath.Join(dir, "copies")
	require.NoError(t, os.Mkdir(folder, 0o700))

	code, out, errs := gateway(context.Background(), "backup", "--journal", db, filepath.Join(dir, "b.db"))
	require.Equal(t, exitDone, code, errs.String())
	assert.Contains(t, out.String(), "backed up to "+filepath.Join(dir, "b.db"))
	code, _, errs = gateway(context.Background(), "backup", "--journal", db, filepath.Join(dir, "b.db"))
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, errs.String(), "such a file already")
	code, _, errs = gateway(context.Background(), "backup", "--journal", db, folder)
	require.Equal(t, exitDone, code, errs.String())
	copies, err := filepath.Glob(filepath.Join(folder, "journal-????-??-??.db"))
	require.NoError(t, err)
	assert.Len(t, copies, 1)
	code, _, errs = gateway(context.Background(), "backup", "--journal", db+"x", filepath.Join(dir, "c.db"))
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, errs.String(), db+"x: there is none; name it with --journal")
	code, _, _ = gateway(context.Background(), "backup", "--keep", "0", folder)
	assert.Equal(t, exitWrongUse, code)

	require.NoError(t, j.Intend(garden.Order{ID: 2, Line: "chilli", Litres: 1}, 2, at))
	restore := []string{"restore", "--socket", socket, "--journal", db, filepath.Join(dir, "b.db")}
	code, _, errs = gateway(context.Background(), restore...)
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, errs.String(), "in use")
	require.NoError(t, j.Close())
	code, out, errs = gateway(context.Background(), restore...)
	require.Equal(t, exitDone, code, errs.String())
	assert.Contains(t, out.String(), "kept as "+db+".replaced-")

	j, _, err = journal.Open(db)
	require.NoError(t, err)
	defer j.Close()
	last, err := j.LastOrderID()
	require.NoError(t, err)
	assert.Equal(t, garden.OrderID(1), last)
}

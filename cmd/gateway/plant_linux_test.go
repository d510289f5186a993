package main

import (
	"context"
	"path/filepath"
	"testing"

	"fabricpot/cmd/gateway/internal/journal"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestPlantBehindAGateway: nothing is written into a journal that a gateway behind another
// socket keeps: it would not hear of it. flock(2).
func TestPlantBehindAGateway(t *testing.T) {
	dir := t.TempDir()
	db := filepath.Join(dir, "journal.db")
	j, _, err := journal.Open(db, journal.Alone())
	require.NoError(t, err)
	seen := func() (int, string) {
		code, out, errs := gateway(context.Background(), "plant", "--socket", filepath.Join(dir, "s"), "--garden", hungry(t), "--journal", db, "seen", "chilli", "fruiting")
		return code, out.String() + errs.String()
	}
	code, said := seen()
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, said, "--socket")
	assert.Contains(t, said, "in use")
	require.NoError(t, j.Close())
	code, said = seen()
	assert.Equal(t, exitDone, code, said)
}

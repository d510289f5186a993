package main

import (
	"bytes"
	"path/filepath"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/journal"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestAStartWaitsForACommand: a start in the moment in which a command has the journal to
// itself waits for it. flock(2).
func TestAStartWaitsForACommand(t *testing.T) {
	db := filepath.Join(t.TempDir(), "journal.db")
	held, _, err := journal.Open(db, journal.Alone())
	require.NoError(t, err)
	closed := make(chan error, 1)
	time.AfterFunc(300*time.Millisecond, func() { closed <- held.Close() })
	var out bytes.Buffer
	j, err := openJournal(streams{out: &out, err: &out}, nil, db, false)
	require.NoError(t, err)
	require.NoError(t, <-closed)
	assert.Contains(t, out.String(), "waiting for up to 5s")
	require.NoError(t, j.Close())
}

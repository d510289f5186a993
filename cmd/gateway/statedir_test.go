package main

import (
	"bytes"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestJournalIsNamedWhole: the status names the journal to those in other folders, however it
// was typed. Our own case.
func TestJournalIsNamedWhole(t *testing.T) {
	dir, err := filepath.EvalSymlinks(t.TempDir())
	require.NoError(t, err)
	t.Chdir(dir)
	var out bytes.Buffer
	j, err := openJournal(streams{out: &out, err: &out}, nil, "journal.db", false)
	require.NoError(t, err)
	assert.Equal(t, filepath.Join(dir, "journal.db"), j.Path())
	require.NoError(t, j.Close())
}

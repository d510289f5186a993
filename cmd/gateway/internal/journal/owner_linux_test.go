package journal_test

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/journal"
)

// TestRootsJournalIsTheServices begins a journal as root in a folder of another
// user's: whoever that is must be able to open it afterwards.
func TestRootsJournalIsTheServices(t *testing.T) {
	if os.Geteuid() != 0 {
		t.Skip("needs root to give a folder away")
	}
	const service = 12345
	dir := t.TempDir()
	require.NoError(t, os.Chown(dir, service, service))
	path := filepath.Join(dir, "journal.db")
	j, aside, err := journal.Open(path)
	require.NoError(t, err)
	require.Empty(t, aside)
	defer j.Close()
	for _, part := range []string{"", "-wal", "-shm"} {
		st, err := os.Stat(path + part)
		require.NoError(t, err, "while it is open")
		s, ok := st.Sys().(*syscall.Stat_t)
		require.True(t, ok)
		assert.Equal(t, [2]uint32{service, service}, [2]uint32{s.Uid, s.Gid}, "journal.db%s", part)
		assert.Equal(t, os.FileMode(0o600), st.Mode().Perm(), "journal.db%s", part)
	}
}

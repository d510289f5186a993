package journal_test

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

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

// TestRestoreWritesThroughNoLink: a link that stands where root copies a backup to
// leads to nothing being written elsewhere.
func TestRestoreWritesThroughNoLink(t *testing.T) {
	dir := t.TempDir()
	from, path, other := filepath.Join(dir, "backup.db"), filepath.Join(dir, "journal.db"), filepath.Join(t.TempDir(), "other")
	j, _, err := journal.Open(from)
	require.NoError(t, err)
	require.NoError(t, j.Close())
	require.NoError(t, os.WriteFile(other, []byte("not yours\n"), 0o600))
	require.NoError(t, os.Symlink(other, path+".part"))
	_, err = journal.Restore(from, path, time.Now())
	require.NoError(t, err)
	b, err := os.ReadFile(other)
	require.NoError(t, err)
	assert.Equal(t, "not yours\n", string(b))
	st, err := os.Lstat(path)
	require.NoError(t, err)
	assert.True(t, st.Mode().IsRegular())
}

package journal

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestBackupAndRestoreRefuse what is no journal's file at once and in one line,
// whatever it is; a pipe would be waited for.
func TestBackupAndRestoreRefuse(t *testing.T) {
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	open(t, at("j.db"))
	require.NoError(t, Backup(at("j.db"), at("good.db")))
	whole, err := os.ReadFile(at("good.db"))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(at("cut.db"), whole[:len(whole)-5000], 0o600))
	require.NoError(t, os.WriteFile(at("text"), []byte("shopping list"), 0o600))
	require.NoError(t, syscall.Mkfifo(at("pipe"), 0o600))
	// Not read as a whole to find that it is none.
	require.NoError(t, os.WriteFile(at("card.img"), nil, 0o600))
	require.NoError(t, os.Truncate(at("card.img"), 1<<40))
	before, err := os.ReadDir(dir)
	require.NoError(t, err)

	restore := func(from, to string) func() error {
		return func() error { _, err := Restore(at(from), at(to), start); return err }
	}
	backup := func(from, to string) func() error { return func() error { return Backup(at(from), at(to)) } }
	for _, c := range []struct {
		name string
		do   func() error
		says string
	}{
		{"a folder restored", restore("", "new.db"), "that is a folder, expected a journal's file"},
		{"a pipe restored", restore("pipe", "new.db"), "that is no file"},
		{"a text restored", restore("text", "new.db"), "does not begin like a journal"},
		{"an image restored", restore("card.img", "new.db"), "does not begin like a journal"},
		{"a torn one restored", restore("cut.db", "new.db"), "the file is damaged"},
		{"into a folder that is none", restore("good.db", "none/new.db"), "no such file or directory"},
		{"in a folder's place", restore("good.db", ""), "the journal's place: that is a folder"},
		{"a pipe read", func() error { _, err := OpenReader(at("pipe")); return err }, "that is no file"},
		{"a folder backed up", backup("", "new.db"), "that is a folder, expected a journal's file"},
		{"a pipe backed up", backup("pipe", "new.db"), "that is no file"},
		{"a text backed up", backup("text", "new.db"), "does not begin like a journal"},
		{"backed up into a folder that is none", backup("good.db", "none/new.db"), "no such file or directory"},
	} {
		t.Run(c.name, func(t *testing.T) {
			done := make(chan error, 1)
			go func() { done <- c.do() }()
			select {
			case err := <-done:
				require.ErrorContains(t, err, c.says)
				assert.Equal(t, 0, strings.Count(err.Error(), "\n"), "%v", err)
			case <-time.After(20 * time.Second):
				t.Fatal("waits")
			}
			after, err := os.ReadDir(dir)
			require.NoError(t, err)
			assert.Len(t, after, len(before), "nothing is left")
		})
	}
}

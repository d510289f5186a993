package main

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// aService is a user that is not this one.
const aService = 12345

func ownerOf(t *testing.T, path string) (uid, gid int) {
	t.Helper()
	st, err := os.Stat(path)
	require.NoError(t, err)
	s, ok := st.Sys().(*syscall.Stat_t)
	require.True(t, ok)
	return int(s.Uid), int(s.Gid)
}

// TestReplacedFileKeepsModeAndOwner writes over a file that nobody else may read:
// neither the new one nor the old one kept beside it is anybody else's.
func TestReplacedFileKeepsModeAndOwner(t *testing.T) {
	for _, mode := range []os.FileMode{0o600, 0o640, 0o644} {
		path := filepath.Join(t.TempDir(), "garden.yaml")
		require.NoError(t, os.WriteFile(path, []byte("old\n"), mode))
		wantUID, wantGID := ownerOf(t, path)
		if os.Geteuid() == 0 {
			wantUID, wantGID = aService, aService
			require.NoError(t, os.Chown(path, wantUID, wantGID))
		}
		kept, err := replaceKeeping(path, []byte("new\n"))
		require.NoError(t, err)
		for file, text := range map[string]string{path: "new\n", kept: "old\n"} {
			b, err := os.ReadFile(file)
			require.NoError(t, err)
			assert.Equal(t, text, string(b))
			st, err := os.Stat(file)
			require.NoError(t, err)
			assert.Equal(t, mode, st.Mode().Perm(), file)
			uid, gid := ownerOf(t, file)
			assert.Equal(t, [2]int{wantUID, wantGID}, [2]int{uid, gid}, file)
		}
	}
	path := filepath.Join(t.TempDir(), "curve.yaml")
	kept, err := replaceKeeping(path, []byte("new\n"))
	require.NoError(t, err)
	assert.Empty(t, kept)
	st, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o644), st.Mode().Perm(), "where nothing stood it is for everybody to read")
}

// TestRootLeavesTheServicesFolderToIt: what an administrator makes there, the
// service must be able to read.
func TestRootLeavesTheServicesFolderToIt(t *testing.T) {
	if os.Geteuid() != 0 {
		t.Skip("needs root to give a folder away")
	}
	dir := t.TempDir()
	require.NoError(t, os.Chown(dir, aService, aService))
	t.Setenv("STATE_DIRECTORY", dir)
	require.NoError(t, rememberLines(&garden.Garden{}))
	out := &output{}
	require.Equal(t, exitDone, execute(t.Context(), streams{in: strings.NewReader("lemon and thyme\n"), out: out, err: out}, []string{"password"}), out.String())
	for _, name := range []string{"lines-in-use.json", "password"} {
		uid, gid := ownerOf(t, filepath.Join(dir, name))
		assert.Equal(t, [2]int{aService, aService}, [2]int{uid, gid}, name)
	}
}

// TestNothingIsWrittenThroughALink: a link that stands in the service's folder where
// root writes leads to nothing being written or given away elsewhere.
func TestNothingIsWrittenThroughALink(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("STATE_DIRECTORY", dir)
	other := filepath.Join(t.TempDir(), "other")
	require.NoError(t, os.WriteFile(other, []byte("not yours\n"), 0o600))
	require.NoError(t, os.Symlink(other, filepath.Join(dir, "lines-in-use.json.part")))
	uid, gid := ownerOf(t, other)
	if os.Geteuid() == 0 {
		require.NoError(t, os.Chown(dir, aService, aService))
	}
	require.NoError(t, rememberLines(&garden.Garden{}))
	link := filepath.Join(dir, "link")
	require.NoError(t, os.Symlink(other, link))
	require.NoError(t, journal.LikeOwner(link, dir))
	b, err := os.ReadFile(other)
	require.NoError(t, err)
	assert.Equal(t, "not yours\n", string(b))
	nowUID, nowGID := ownerOf(t, other)
	assert.Equal(t, [2]int{uid, gid}, [2]int{nowUID, nowGID})
	in, err := rememberedLines()
	require.NoError(t, err)
	assert.NotNil(t, in)
}

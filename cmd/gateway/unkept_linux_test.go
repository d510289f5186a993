package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func unkept(t *testing.T, folders []string) (*runner.Keeper, string) {
	t.Helper()
	var told bytes.Buffer
	k, err := openUnkept(streams{out: &told, err: &told}, syscall.EROFS, folders)
	require.NoError(t, err)
	t.Cleanup(func() {
		dir := filepath.Dir(k.Path())
		_ = k.Journal.Close()
		_ = os.RemoveAll(dir)
	})
	return k, told.String()
}

// TestUnkeptOfOneBoot: the starts of a boot whose card can't be written share one
// journal in memory, so that crashes are counted over them and nothing piles up.
func TestUnkeptOfOneBoot(t *testing.T) {
	run := t.TempDir()
	t.Setenv("RUNTIME_DIRECTORY", run)
	socket := filepath.Join(run, "gateway.sock")
	at := func(m int) garden.Moment { return garden.Moment{Mono: time.Duration(m) * time.Minute} }
	var k *runner.Keeper
	for life := range 4 {
		k, _ = unkept(t, unkeptFolders(socket)) // and the one before is killed
		starts, err := k.Started(at(3*life), 10*time.Minute)
		require.NoError(t, err)
		assert.Equal(t, life, starts.Crashes)
		last, err := k.LastOrderID()
		require.NoError(t, err)
		assert.Equal(t, garden.OrderID(life), last)
		d := garden.Delivery{Order: last + 1, Line: "a", Zone: "a", Litres: 1, Open: time.Minute, OpenedAt: at(3 * life), ClosedAt: at(3*life + 1)}
		require.NoError(t, k.Settle(d))
		past, err := k.Recent(at(3*life + 2))
		require.NoError(t, err)
		require.Len(t, past, life+1)
		assert.True(t, past[0].SameClock)
		assert.True(t, past[0].Unwritten, "it counts in the no-journal budget")
	}
	dir := filepath.Dir(k.Path())
	assert.Equal(t, run, filepath.Dir(dir))
	st, err := os.Stat(dir)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o700), st.Mode().Perm())
	there, err := os.ReadDir(run)
	require.NoError(t, err)
	assert.Len(t, there, 1, "one folder, however many starts")
	there, err = os.ReadDir(dir)
	require.NoError(t, err)
	assert.LessOrEqual(t, len(there), 3, "a journal and its log")

	t.Run("another socket", func(t *testing.T) {
		other, _ := unkept(t, unkeptFolders(socket+"2"))
		assert.NotEqual(t, k.Path(), other.Path())
	})
	t.Run("another boot", func(t *testing.T) {
		old := filepath.Join(dir, "journal-another-boot.db")
		j, _, err := journal.Open(old, journal.WithClock("boot another-boot"))
		require.NoError(t, err)
		require.NoError(t, j.Close())
		again, _ := unkept(t, unkeptFolders(socket))
		assert.Equal(t, k.Path(), again.Path())
		assert.NoFileExists(t, old)
	})
	t.Run("a card again", func(t *testing.T) {
		forgetUnkept(streams{}, unkeptFolders(socket))
		assert.NoDirExists(t, dir)
	})
}

// TestKeptShutWhileTheCardWasBroken: what a person kept shut while a journal in memory
// stood for one that could not be opened is so after the next start that can open it, and
// in that journal.
func TestKeptShutWhileTheCardWasBroken(t *testing.T) {
	run := t.TempDir()
	t.Setenv("RUNTIME_DIRECTORY", run)
	socket := filepath.Join(run, "gateway.sock")
	var told bytes.Buffer
	s := streams{out: &told, err: &told}
	now := garden.Moment{Wall: time.Date(2031, 6, 1, 5, 0, 0, 0, time.UTC), Synced: true}
	k, _ := unkept(t, unkeptFolders(socket))
	keepBeside(s, k, socket)
	require.NoError(t, k.Asked(now, garden.Ask{Kind: garden.AskShut, Zone: "a", Until: now.Add(48 * time.Hour), Who: "test"}))
	k, _ = unkept(t, unkeptFolders(socket)) // and the one before is killed
	keepBeside(s, k, socket)
	standing, err := k.Standing(now.Wall.Add(time.Hour))
	require.NoError(t, err)
	require.Len(t, standing, 1)

	path := filepath.Join(t.TempDir(), "journal.db")
	j, _, err := journal.Open(path)
	require.NoError(t, err)
	defer j.Close()
	k = runner.NewKeeper(j)
	forgetUnkept(s, unkeptFolders(socket))
	keepBeside(s, k, socket)
	standing, err = k.Standing(now.Wall.Add(time.Hour))
	require.NoError(t, err)
	require.Len(t, standing, 1)
	assert.Equal(t, garden.ZoneID("a"), standing[0].Zone)
	assert.Equal(t, 48*time.Hour, standing[0].Until.Mono)
	assert.Empty(t, told.String())
	kept, err := j.Standing(now.Wall.Add(time.Hour))
	require.NoError(t, err)
	assert.Equal(t, standing, kept)
	there, err := os.ReadDir(run)
	require.NoError(t, err)
	assert.Empty(t, there, "the journal has it")
}

// TestUnkeptInNobodyElsesFolder: who puts a link or a folder where it will be can
// neither read nor lead away what is kept.
func TestUnkeptInNobodyElsesFolder(t *testing.T) {
	base := t.TempDir()
	in := func(name string) string { return filepath.Join(base, name) }
	require.NoError(t, os.Mkdir(in("elsewhere"), 0o700))
	require.NoError(t, os.Symlink(in("elsewhere"), in("link")))
	require.NoError(t, os.Mkdir(in("wide"), 0o700))
	require.NoError(t, os.Chmod(in("wide"), 0o777))
	require.NoError(t, os.WriteFile(in("file"), nil, 0o600))
	bad := []string{in("link"), in("wide"), in("file")}
	if os.Geteuid() == 0 {
		require.NoError(t, os.Mkdir(in("theirs"), 0o700))
		require.NoError(t, os.Chown(in("theirs"), aService, aService))
		bad = append(bad, in("theirs"))
	}
	k, told := unkept(t, append(bad, in("good")))
	assert.Equal(t, in("good"), filepath.Dir(k.Path()))
	for _, dir := range bad {
		assert.Contains(t, told, dir)
	}
	k, told = unkept(t, bad)
	assert.False(t, strings.HasPrefix(k.Path(), base), "a new folder")
	assert.Equal(t, len(bad), strings.Count(told, "journal in memory: "))
	forgetUnkept(streams{}, bad)
	for _, dir := range append(bad, in("elsewhere")) {
		_, err := os.Lstat(dir)
		assert.NoError(t, err, "it is not ours to remove")
	}
	there, err := os.ReadDir(in("elsewhere"))
	require.NoError(t, err)
	assert.Empty(t, there)
}

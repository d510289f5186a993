package journal

import (
	"errors"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestKilled runs this test binary as a process that intends an order, begins
// to write samples without end, and is killed in the middle.
func TestKilled(t *testing.T) {
	const env = "JOURNAL_TEST_CHILD"
	if path := os.Getenv(env); path != "" {
		j, _, err := Open(path, WithClock("boot a"))
		if err != nil {
			t.Fatal(err)
		}
		if err := j.Intend(order(41), 2, at(0)); err != nil {
			t.Fatal(err)
		}
		os.Stdout.WriteString("intended\n")
		for i := 0; ; i++ {
			_ = j.AddSamples(Batch{Zones: []ZoneSample{{Zone: "chilli", At: at(time.Duration(i) * time.Second), Water: garden.Known(0.4)}}})
		}
	}
	path := filepath.Join(t.TempDir(), "j.db")
	for range 3 {
		cmd := exec.Command(os.Args[0], "-test.run=^TestKilled$")
		cmd.Env = append(os.Environ(), env+"="+path)
		out, err := cmd.StdoutPipe()
		require.NoError(t, err)
		require.NoError(t, cmd.Start())
		buf := make([]byte, 64)
		n, _ := out.Read(buf)
		require.Contains(t, string(buf[:n]), "intended")
		require.NoError(t, cmd.Process.Kill())
		_ = cmd.Wait() // it was killed: that is the error

		j := open(t, path, WithClock("boot a"))
		got, err := j.Unfinished()
		require.NoError(t, err)
		require.Len(t, got, 1)
		assert.Equal(t, garden.OrderID(41), got[0].Order.ID)
		assert.True(t, got[0].SameClock)
		// Make room for the next round's order of the same number.
		_, err = j.full.Exec("DELETE FROM intents")
		require.NoError(t, err)
		require.NoError(t, j.Close())
	}
}

func TestBroken(t *testing.T) {
	good := func(t *testing.T, path string) []byte {
		j := open(t, path)
		for i := range 2000 {
			require.NoError(t, j.insert("note", `INSERT INTO notes(at_wall,at_synced,zone,kind,text,who) VALUES(?,1,'','','padding','')`, i))
		}
		require.NoError(t, j.Close())
		b, err := os.ReadFile(path)
		require.NoError(t, err)
		return b
	}
	base := good(t, filepath.Join(t.TempDir(), "good.db"))
	page := 4096
	require.Greater(t, len(base), 8*page)

	torn := append([]byte(nil), base...)
	for i := page; i < 4*page; i++ {
		torn[i] = 0xA5
	}
	for _, c := range []struct {
		name string
		file []byte
	}{
		{"garbage", []byte(strings.Repeat("not a journal\n", 400))},
		{"a few bytes", []byte("SQLite format 3\x00")},
		{"truncated in a page", base[:len(base)-page-100]},
		{"truncated to one page", base[:page]},
		{"pages overwritten", torn},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			path := filepath.Join(dir, "j.db")
			require.NoError(t, os.WriteFile(path, c.file, 0o600))
			now := func() time.Time { return start }
			j, aside, err := Open(path, WithNow(now))
			require.NoError(t, err)
			defer j.Close()
			kept := path + ".broken-20310601T050000Z"
			assert.Contains(t, aside, kept)
			b, err := os.ReadFile(kept)
			require.NoError(t, err)
			assert.Equal(t, c.file, b, "nothing of the broken file may change")
			require.NoError(t, j.Intend(order(1), 2, at(0)))
			require.NoError(t, j.Close())

			// A second one at the same second takes another name.
			require.NoError(t, os.WriteFile(path, c.file, 0o600))
			j, aside, err = Open(path, WithNow(now))
			require.NoError(t, err)
			defer j.Close()
			assert.Contains(t, aside, kept+"-2")
		})
	}
	t.Run("an empty file is a fresh journal", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "j.db")
		require.NoError(t, os.WriteFile(path, nil, 0o600))
		open(t, path)
	})
	t.Run("garbage beside a log that is none", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "j.db")
		require.NoError(t, os.WriteFile(path, []byte(strings.Repeat("not a journal\n", 400)), 0o600))
		require.NoError(t, os.WriteFile(path+"-wal", []byte("left over"), 0o600))
		_, aside, err := Open(path)
		require.NoError(t, err)
		assert.NotEmpty(t, aside)
	})
	t.Run("only the write-ahead log is left", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "j.db")
		require.NoError(t, os.WriteFile(path+"-wal", []byte("left over"), 0o600))
		j, aside, err := Open(path, WithNow(func() time.Time { return start }))
		require.NoError(t, err)
		defer j.Close()
		assert.NotEmpty(t, aside)
		b, err := os.ReadFile(path + ".broken-20310601T050000Z-wal")
		require.NoError(t, err)
		assert.Equal(t, "left over", string(b))
	})
	t.Run("another program's database is left alone", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "j.db")
		j := open(t, path)
		_, err := j.easy.Exec("PRAGMA application_id=77")
		require.NoError(t, err)
		require.NoError(t, j.Close())
		_, aside, err := Open(path)
		require.ErrorContains(t, err, "another program")
		assert.Empty(t, aside)
	})
	t.Run("a newer schema is left alone", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "j.db")
		j := open(t, path)
		_, err := j.easy.Exec("PRAGMA user_version=99")
		require.NoError(t, err)
		require.NoError(t, j.Close())
		_, aside, err := Open(path)
		require.ErrorContains(t, err, "version 99")
		assert.Empty(t, aside)
	})
}

func TestPlace(t *testing.T) {
	t.Run("only the owner may read it", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "j.db")
		j := open(t, path)
		require.NoError(t, j.Intend(order(1), 2, at(0)))
		for _, part := range []string{"", "-wal", "-shm"} {
			st, err := os.Stat(path + part)
			require.NoError(t, err)
			assert.Equal(t, fs.FileMode(0o600), st.Mode().Perm(), part)
		}
	})
	t.Run("a place that is no directory", func(t *testing.T) {
		file := filepath.Join(t.TempDir(), "file")
		require.NoError(t, os.WriteFile(file, []byte("x"), 0o600))
		_, _, err := Open(filepath.Join(file, "j.db"))
		require.ErrorContains(t, err, "j.db")
	})
	t.Run("a directory in its place", func(t *testing.T) {
		_, _, err := Open(t.TempDir())
		require.ErrorContains(t, err, "expected a file")
	})
	t.Run("a read-only directory", func(t *testing.T) {
		if os.Geteuid() == 0 {
			// Permissions do not bind root; a file system without files does.
			_, _, err := Open("/proc/self/j.db")
			require.Error(t, err)
			return
		}
		dir := t.TempDir()
		require.NoError(t, os.Chmod(dir, 0o500))
		_, aside, err := Open(filepath.Join(dir, "j.db"))
		require.True(t, errors.Is(err, fs.ErrPermission), "%v", err)
		assert.Empty(t, aside)
	})
}

package journal

import (
	"io/fs"
	"os"
	"path/filepath"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestBackup(t *testing.T) {
	t.Run("a running journal is copied whole, and writing goes on", func(t *testing.T) {
		dir := t.TempDir()
		path, to := filepath.Join(dir, "j 100%.db"), filepath.Join(dir, "copy.db")
		j := open(t, path)
		for i := range 300 {
			require.NoError(t, j.Intend(order(garden.OrderID(i+1)), 2, at(time.Duration(i)*time.Minute)))
		}
		stop, fail := make(chan struct{}), make(chan error, 1)
		go func() {
			defer close(fail)
			for i := garden.OrderID(1001); ; i++ {
				select {
				case <-stop:
					return
				default:
				}
				if err := j.Intend(order(i), 2, at(time.Hour)); err != nil {
					fail <- err
					return
				}
			}
		}()
		err := Backup(path, to)
		close(stop)
		require.NoError(t, err)
		require.NoError(t, <-fail)
		st, err := os.Stat(to)
		require.NoError(t, err)
		assert.Equal(t, fs.FileMode(0o600), st.Mode().Perm())
		left, err := filepath.Glob(to + "?*")
		require.NoError(t, err)
		assert.Empty(t, left, "no log and no part beside a backup")

		c := open(t, to)
		u, err := c.Unfinished()
		require.NoError(t, err)
		require.GreaterOrEqual(t, len(u), 300)
		for i := range 300 {
			assert.Equal(t, garden.OrderID(i+1), u[i].Order.ID)
		}
		require.ErrorContains(t, Backup(path, to), "such a file already")
	})
	t.Run("in the middle of a write, for which it does not wait", func(t *testing.T) {
		path, to := filepath.Join(t.TempDir(), "j.db"), filepath.Join(t.TempDir(), "copy.db")
		j := open(t, path)
		require.NoError(t, j.Intend(order(1), 2, at(0)))
		writer, err := single(path, "rw")
		require.NoError(t, err)
		defer writer.Close()
		tx, err := writer.Begin()
		require.NoError(t, err)
		defer func() { _ = tx.Rollback() }()
		_, err = tx.Exec("UPDATE intents SET litres = 3")
		require.NoError(t, err)
		require.NoError(t, Backup(path, to))
		u, err := open(t, to).Unfinished()
		require.NoError(t, err)
		require.Len(t, u, 1)
		assert.Equal(t, order(1).Litres, u[0].Order.Litres)
	})
	t.Run("what is no journal is refused and leaves nothing", func(t *testing.T) {
		dir := t.TempDir()
		path, to := filepath.Join(dir, "j.db"), filepath.Join(dir, "copy.db")
		require.Error(t, Backup(path, to))
		require.NoError(t, os.WriteFile(path, []byte("shopping list"), 0o600))
		require.Error(t, Backup(path, to))
		left, err := filepath.Glob(filepath.Join(dir, "copy*"))
		require.NoError(t, err)
		assert.Empty(t, left)
	})
	t.Run("daily copies: the newest stay, others' files too", func(t *testing.T) {
		path, folder := filepath.Join(t.TempDir(), "j.db"), filepath.Join(t.TempDir(), "b")
		open(t, path)
		for d := range 5 {
			_, err := BackupDaily(path, folder, start.AddDate(0, 0, d), 3)
			require.NoError(t, err)
			if d == 0 {
				require.NoError(t, os.WriteFile(filepath.Join(folder, "journal-holiday.db"), nil, 0o600))
			}
		}
		// A clock that lost its battery must not cost the copy it just made.
		old, err := BackupDaily(path, folder, time.Unix(0, 0).UTC(), 3)
		require.NoError(t, err)
		entries, err := os.ReadDir(folder)
		require.NoError(t, err)
		var names []string
		for _, e := range entries {
			names = append(names, e.Name())
		}
		assert.Equal(t, []string{filepath.Base(old), "journal-2031-06-04.db", "journal-2031-06-05.db", "journal-holiday.db"}, names)
	})
}

// A second copy of a day is of that hour; what can't be copied leaves the first, and
// is never called a backup. Damage as in TestRestore.
func TestBackupTwiceADay(t *testing.T) {
	path, folder := filepath.Join(t.TempDir(), "j.db"), filepath.Join(t.TempDir(), "b")
	j := open(t, path)
	lastIn := func(file string) garden.OrderID {
		c := open(t, file)
		last, err := c.LastOrderID()
		require.NoError(t, err)
		require.NoError(t, c.Close())
		return last
	}
	require.NoError(t, j.Intend(order(1), 2, at(0)))
	to, err := BackupDaily(path, folder, start, 3)
	require.NoError(t, err)
	require.NoError(t, j.Intend(order(2), 2, at(time.Minute)))
	again, err := BackupDaily(path, folder, start.Add(time.Hour), 3)
	require.NoError(t, err)
	assert.Equal(t, to, again)
	assert.Equal(t, garden.OrderID(2), lastIn(to), "the copy is of the second time")

	whole, err := os.ReadFile(to)
	require.NoError(t, err)
	torn := append([]byte(nil), whole...)
	for i := 4096; i < 3*4096; i++ {
		torn[i] = 0xA5
	}
	foreign := append([]byte(nil), whole...)
	foreign[68] ^= 0xFF // the application's id, sqlite.org/fileformat.html 1.3
	for name, b := range map[string][]byte{"empty": nil, "text": []byte("text"), "cut": whole[:len(whole)-5000], "torn": torn, "foreign": foreign} {
		bad := filepath.Join(t.TempDir(), "bad.db")
		require.NoError(t, os.WriteFile(bad, b, 0o600))
		_, err := BackupDaily(bad, folder, start, 3)
		require.Error(t, err, name)
	}
	_, err = BackupDaily(folder, folder, start, 3)
	require.ErrorContains(t, err, "a folder")
	after, err := os.ReadFile(to)
	require.NoError(t, err)
	assert.Equal(t, whole, after, "today's copy stays")
	entries, err := os.ReadDir(folder)
	require.NoError(t, err)
	assert.Len(t, entries, 1, "and nothing half made beside it")
}

func TestRestore(t *testing.T) {
	setup := func(t *testing.T) (path, copied string, j *Journal) {
		dir := t.TempDir()
		path, copied = filepath.Join(dir, "j.db"), filepath.Join(dir, "copy.db")
		j = open(t, path)
		require.NoError(t, j.Intend(order(1), 2, at(0)))
		require.NoError(t, Backup(path, copied))
		require.NoError(t, j.Intend(order(2), 2, at(0)))
		return path, copied, j
	}
	t.Run("refuses while in use, then keeps the old", func(t *testing.T) {
		path, copied, j := setup(t)
		_, err := Restore(copied, path, start)
		require.ErrorIs(t, err, ErrInUse)
		require.NoError(t, j.Intend(order(3), 2, at(0)), "the refusal must not harm who uses it")
		require.NoError(t, j.Close())

		kept, err := Restore(copied, path, start)
		require.NoError(t, err)
		assert.Equal(t, path+".replaced-20310601T050000Z", kept)
		for file, want := range map[string]garden.OrderID{path: 1, kept: 3} {
			last, err := open(t, file).LastOrderID()
			require.NoError(t, err)
			assert.Equal(t, want, last, file)
		}
		assert.FileExists(t, copied)
	})
	t.Run("where there is none yet", func(t *testing.T) {
		_, copied, _ := setup(t)
		path := filepath.Join(t.TempDir(), "fresh.db")
		kept, err := Restore(copied, path, start)
		require.NoError(t, err)
		assert.Empty(t, kept)
		last, err := open(t, path).LastOrderID()
		require.NoError(t, err)
		assert.Equal(t, garden.OrderID(1), last)
	})
	t.Run("over a broken one", func(t *testing.T) {
		_, copied, _ := setup(t)
		path := filepath.Join(t.TempDir(), "broken.db")
		require.NoError(t, os.WriteFile(path, []byte("scrambled"), 0o600))
		kept, err := Restore(copied, path, start)
		require.NoError(t, err)
		b, err := os.ReadFile(kept)
		require.NoError(t, err)
		assert.Equal(t, "scrambled", string(b))
	})
	t.Run("a bad backup changes nothing", func(t *testing.T) {
		path, copied, j := setup(t)
		require.NoError(t, j.Close())
		whole, err := os.ReadFile(copied)
		require.NoError(t, err)
		torn := append([]byte(nil), whole...)
		for i := 4096; i < 3*4096; i++ {
			torn[i] = 0xA5
		}
		before, err := os.ReadFile(path)
		require.NoError(t, err)
		for name, b := range map[string][]byte{"empty": nil, "text": []byte("text"), "cut": whole[:len(whole)-5000], "torn": torn} {
			bad := filepath.Join(t.TempDir(), "bad.db")
			require.NoError(t, os.WriteFile(bad, b, 0o600))
			_, err := Restore(bad, path, start)
			require.Error(t, err, name)
		}
		newer := open(t, copied)
		_, err = newer.easy.Exec("PRAGMA user_version=99")
		require.NoError(t, err)
		require.NoError(t, newer.Close())
		_, err = Restore(copied, path, start)
		require.ErrorContains(t, err, "version 99")
		_, err = Restore(path, path, start)
		require.ErrorContains(t, err, "itself")
		after, err := os.ReadFile(path)
		require.NoError(t, err)
		assert.Equal(t, before, after)
		left, err := filepath.Glob(path + ".*")
		require.NoError(t, err)
		assert.Empty(t, left)
	})
}

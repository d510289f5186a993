package place

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// watched is a card that notes what is done in which order, and fails at a step
// (0 for none).
func watched(done *[]string, failAt int) card {
	step := func(what, name string, do func() error) error {
		base, _, _ := strings.Cut(strings.TrimPrefix(filepath.Base(name), "."), ".part-")
		*done = append(*done, what+" "+base)
		if len(*done) == failAt {
			return errors.New("the card is gone")
		}
		return do()
	}
	real := disk()
	return card{
		func(f *os.File) error { return step("sync", f.Name(), func() error { return real.sync(f) }) },
		func(from, to string) error { return step("name", to, func() error { return real.move(from, to) }) },
	}
}

func text(s string) func(*os.File) error {
	return func(f *os.File) error { _, err := f.WriteString(s); return err }
}

// TestFileIsOnTheCardBeforeItsName: content, name, folder, in this order; any
// other loses the file in a power cut (fsync(2): the entry in the folder needs an
// fsync of its own).
func TestFileIsOnTheCardBeforeItsName(t *testing.T) {
	path := filepath.Join(t.TempDir(), "f.json")
	folder := filepath.Base(filepath.Dir(path))
	require.NoError(t, os.WriteFile(path, []byte("old"), 0o644))
	var done []string
	require.NoError(t, watched(&done, 0).file(path, 0o600, text("new")))
	assert.Equal(t, []string{"sync f.json", "name f.json", "sync " + folder}, done)
	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, fs.FileMode(0o600), info.Mode())
	assert.Equal(t, "new", read(t, path))

	done = nil
	require.NoError(t, watched(&done, 0).rename(path, path+".old"))
	assert.Equal(t, []string{"name f.json.old", "sync " + folder}, done)
}

// TestNothingIsHalfPlaced: whatever fails, the file is the old one or the new one,
// and nothing lies beside it.
func TestNothingIsHalfPlaced(t *testing.T) {
	for at, want := range map[int]string{1: "old", 2: "old", 3: "new"} {
		path := filepath.Join(t.TempDir(), "f.json")
		require.NoError(t, os.WriteFile(path, []byte("old"), 0o644))
		var done []string
		require.Error(t, watched(&done, at).file(path, 0o600, text("new")), "step %d", at)
		assert.Equal(t, want, read(t, path), "step %d", at)
		assert.Equal(t, []string{"f.json"}, names(t, filepath.Dir(path)), "step %d", at)
	}
	path := filepath.Join(t.TempDir(), "f.json")
	refused := errors.New("refused")
	require.ErrorIs(t, File(path, 0o600, func(f *os.File) error { return errors.Join(text("ne")(f), refused) }), refused)
	assert.Empty(t, names(t, filepath.Dir(path)))
}

// TestErrorsNameTheFile: what is said is about the file that was asked for.
func TestErrorsNameTheFile(t *testing.T) {
	dir := t.TempDir()
	full := &fs.PathError{Op: "write", Path: "", Err: errors.New("no space left on device")}
	for want, err := range map[string]error{
		"none/f.json: no such file or directory": File(filepath.Join(dir, "none", "f.json"), 0o600, text("new")),
		"f.json: no space left on device": File(filepath.Join(dir, "f.json"), 0o600, func(f *os.File) error {
			full.Path = f.Name()
			return full
		}),
		": that is a folder, expected a file's name": File(dir, 0o600, text("new")),
	} {
		require.ErrorContains(t, err, "write "+dir)
		require.ErrorContains(t, err, want)
		assert.NotContains(t, err.Error(), ".part-")
	}
	other := errors.New("of another file")
	require.ErrorIs(t, File(filepath.Join(dir, "f.json"), 0o600, func(*os.File) error { return other }), other)
	assert.Empty(t, names(t, dir))
}

func TestWritten(t *testing.T) {
	path := filepath.Join(t.TempDir(), "f.db")
	require.ErrorIs(t, Written(path+".part", path), fs.ErrNotExist)
	require.NoError(t, os.WriteFile(path+".part", []byte("new"), 0o600))
	require.NoError(t, Written(path+".part", path))
	assert.Equal(t, "new", read(t, path))
	assert.Equal(t, []string{"f.db"}, names(t, filepath.Dir(path)))
}

func read(t *testing.T, path string) string {
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	return string(b)
}

func names(t *testing.T, dir string) []string {
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	var out []string
	for _, e := range entries {
		out = append(out, e.Name())
	}
	return out
}

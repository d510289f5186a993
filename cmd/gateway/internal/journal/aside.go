package journal

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// header is how every SQLite 3 file begins (SQLite file format, section 1.3,
// from memory); the header is 100 bytes long.
var header = []byte("SQLite format 3\x00")

const headerLen = 100

// inspect looks at the file before SQLite does, and creates it where there is
// none. why is set where it can be no journal.
func inspect(path string) (why string, err error) {
	f, err := os.Open(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		if logged(path) {
			return "the file is missing and only its write-ahead log is left", nil
		}
		f, err = os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_RDWR, 0o600)
		if err != nil {
			return "", err
		}
		// Root may be the first here, and the service comes after. SQLite gives
		// the files beside it the same owner.
		return "", errors.Join(f.Close(), LikeOwner(path, filepath.Dir(path)))
	case err != nil:
		return "", err
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return "", err
	}
	if !st.Mode().IsRegular() {
		return "", fmt.Errorf("expected a file, found %s", st.Mode().Type())
	}
	if st.Size() == 0 {
		return "", nil
	}
	head := make([]byte, headerLen)
	n, err := io.ReadFull(f, head)
	if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) {
		return "", err
	}
	// With a log beside it the page may have been torn on its way out of that, where it is
	// whole: SQLite looks there first, and finds out where it is not.
	if (n < headerLen || !bytes.HasPrefix(head, header)) && !logged(path) {
		return "the file does not begin like a journal", nil
	}
	return "", nil
}

// logged tells that there is a write-ahead log beside the file.
func logged(path string) bool {
	st, err := os.Stat(path + "-wal")
	return err == nil && st.Size() > 0
}

// setAside renames the file and what belongs to it, and tells so in a sentence.
func setAside(path, why string, now time.Time) (note, to string, err error) {
	to, err = moveAway(path, "broken", now)
	if err != nil {
		return "", "", fmt.Errorf("set the broken file aside: %w", err)
	}
	return brokenNote(path, why, to), to, nil
}

func brokenNote(path, why, to string) string {
	return fmt.Sprintf("the journal %s was broken (%s): it was kept as %s and a fresh one begun",
		path, strings.Join(strings.Fields(why), " "), to) // SQLite says more than one line
}

// stampedBroken is how the name of a broken file goes on, cutShortFor how long after it
// was set aside an empty journal counts as the one that a start was about to begin in its
// place.
const (
	stampedBroken = ".broken-20060102T150405Z"
	cutShortFor   = 24 * time.Hour
)

// cutShort looks for a broken file that was set aside lately: where there is no journal
// beside it the start that did so went no further.
func cutShort(path string, now time.Time) (note, old string) {
	there, err := os.ReadDir(filepath.Dir(path))
	if err != nil {
		return "", "" // opening it says why
	}
	var latest time.Time
	for _, e := range there {
		stamp, ours := strings.CutPrefix(e.Name(), filepath.Base(path))
		if !ours || len(stamp) < len(stampedBroken) || strings.HasSuffix(stamp, "-wal") || strings.HasSuffix(stamp, "-shm") {
			continue
		}
		at, err := time.Parse(stampedBroken, stamp[:len(stampedBroken)])
		if err == nil && now.Sub(at).Abs() < cutShortFor && !at.Before(latest) {
			latest, old = at, filepath.Join(filepath.Dir(path), e.Name())
		}
	}
	if old == "" {
		return "", ""
	}
	return brokenNote(path, "and a start after it was cut short", old), old
}

// brokenKey names, among the journal's small values, that it was begun in place of a
// broken one.
const brokenKey = "broken"

// Broken is what there is to tell of a journal that was begun in place of a broken one,
// empty where it was not or where that is told.
func (j *Journal) Broken() (string, error) {
	what, _, err := j.Meta(brokenKey)
	return what, err
}

// BrokenTold has Broken say nothing any more. Whoever calls it has kept what follows.
func (j *Journal) BrokenTold() error { return j.SetMeta(brokenKey, "") }

func taken(path string) bool {
	for _, part := range []string{"", "-wal", "-shm"} {
		if _, err := os.Lstat(path + part); !errors.Is(err, fs.ErrNotExist) {
			return true
		}
	}
	return false
}

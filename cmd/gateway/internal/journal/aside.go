package journal

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
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
		if left, err := os.Stat(path + "-wal"); err == nil && left.Size() > 0 {
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
	if n < headerLen || !bytes.HasPrefix(head, header) {
		return "the file does not begin like a journal", nil
	}
	return "", nil
}

// setAside renames the file and what belongs to it, and tells so in a sentence.
func setAside(path, why string, now time.Time) (note string, err error) {
	to, err := moveAway(path, "broken", now)
	if err != nil {
		return "", fmt.Errorf("set the broken file aside: %w", err)
	}
	return fmt.Sprintf("the journal %s was broken (%s): it was kept as %s and a fresh one begun", path, why, to), nil
}

func taken(path string) bool {
	for _, part := range []string{"", "-wal", "-shm"} {
		if _, err := os.Lstat(path + part); !errors.Is(err, fs.ErrNotExist) {
			return true
		}
	}
	return false
}

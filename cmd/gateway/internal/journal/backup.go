package journal

import (
	"bytes"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"time"

	"fabricpot/cmd/gateway/internal/place"

	"modernc.org/sqlite"
)

// ErrInUse tells that a program holds the journal open.
var ErrInUse = errors.New("the journal is in use")

// Backup writes a copy of the journal at path to a new file, as it is at one
// moment, and checks it. A gateway may go on writing meanwhile: readers and
// the writer do not wait for each other. The copy is compact, has mode 0600
// and appears under its name only when it is whole and on the card.
func Backup(path, to string) error {
	if taken(to) {
		return fmt.Errorf("journal %s: back up to %s: there is such a file already: name a new one", path, to)
	}
	return replace(path, to)
}

// replace is Backup where a file at to is replaced, once the new one is whole.
func replace(path, to string) error {
	fail := func(err error) error { return fmt.Errorf("journal %s: back up to %s: %w", path, to, err) }
	if _, err := aFile(path); err != nil {
		return fail(err)
	}
	if err := begins(path); err != nil {
		return fail(err)
	}
	part := to + ".part"
	// SQLite would create the file for everyone to read; it accepts an empty one.
	f, err := anew(part)
	if err != nil {
		return fail(err)
	}
	if err := f.Close(); err != nil {
		return fail(errors.Join(err, discard(part)))
	}
	if err := copyInto(path, part); err != nil {
		return fail(errors.Join(err, discard(part)))
	}
	if err := inspectCopy(part); err != nil {
		return fail(errors.Join(err, discard(part)))
	}
	if err := place.Written(part, to); err != nil {
		return fail(errors.Join(err, discard(part)))
	}
	return nil
}

// aFile refuses what is none: a pipe would be waited for.
func aFile(path string) (fs.FileInfo, error) {
	st, err := os.Stat(path)
	switch {
	case err != nil:
		return nil, err
	case st.IsDir():
		return nil, errors.New("that is a folder, expected a journal's file")
	case !st.Mode().IsRegular():
		return nil, errors.New("that is no file, expected a journal's")
	}
	return st, nil
}

// begins refuses a file that does not begin like a journal, before all of it is
// copied.
func begins(path string) error {
	head, err := readHead(path)
	if err == nil && !bytes.HasPrefix(head, header) {
		err = errors.New("the file does not begin like a journal")
	}
	return err
}

// anew creates a file that may be left from before, writing through no link that
// stands there.
func anew(path string) (*os.File, error) {
	_ = os.Remove(path) // creating it says why it can't be
	return os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
}

// discard removes what may not have come to be.
func discard(path string) error {
	if _, err := os.Lstat(path); errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return os.Remove(path)
}

// incremental is SQLite's number for giving back free pages a few at a time.
const incremental = 2

func copyInto(path, part string) (err error) {
	db, err := single(path, "rw", "busy_timeout(10000)")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	// A copy is as its source in this. To ask for it waits for the writer, even where
	// it is so already.
	var vacuums int
	if err = db.QueryRow("PRAGMA auto_vacuum").Scan(&vacuums); err == nil && vacuums != incremental {
		_, err = db.Exec("PRAGMA auto_vacuum = 2")
	}
	if err == nil {
		_, err = db.Exec("VACUUM INTO ?", part)
	}
	return err
}

// BackupDaily backs up into a folder under the day's name, and of the copies it
// made there itself keeps the newest. A copy of that day is replaced once the new
// one is whole: copies by hand, however many, push out no other day's.
func BackupDaily(path, folder string, day time.Time, keep int) (to string, err error) {
	if keep < 1 {
		return "", fmt.Errorf("journal %s: back up: keeping %d copies is no backup: expected 1 or more", path, keep)
	}
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return "", fmt.Errorf("journal %s: back up: %w", path, err)
	}
	const begin, end, layout = "journal-", ".db", "2006-01-02"
	to = filepath.Join(folder, begin+day.Format(layout)+end)
	if err := replace(path, to); err != nil {
		return "", err
	}
	all, err := filepath.Glob(filepath.Join(folder, begin+"*"+end))
	if err != nil {
		return to, err
	}
	var ours []string
	for _, p := range all {
		name := strings.TrimSuffix(strings.TrimPrefix(filepath.Base(p), begin), end)
		// The one just made stays, whatever the clock said it was.
		if _, err := time.Parse(layout, name); err == nil && p != to {
			ours = append(ours, p)
		}
	}
	sort.Strings(ours)
	var errs []error
	for ; len(ours) >= keep; ours = ours[1:] {
		errs = append(errs, os.Remove(ours[0]))
	}
	if err := errors.Join(errs...); err != nil {
		return to, fmt.Errorf("journal %s: remove an old backup: %w", path, err)
	}
	return to, nil
}

// Restore puts a backup in the journal's place and keeps the old one under
// another name, which it returns ("" where there was none). It refuses with
// ErrInUse while a program has the journal open, and a file that is no journal,
// is damaged or has a newer schema changes nothing.
func Restore(from, path string, now time.Time) (kept string, err error) {
	fail := func(err error) (string, error) {
		return "", fmt.Errorf("journal %s: restore from %s: %w", path, from, err)
	}
	a, err := aFile(from)
	if err != nil {
		return fail(err)
	}
	if err := begins(from); err != nil {
		return fail(err)
	}
	b, err := aFile(path)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fail(fmt.Errorf("the journal's place: %w", err))
	}
	if err == nil && os.SameFile(a, b) {
		return fail(errors.New("this is the journal itself"))
	}
	had := taken(path)
	if had {
		if err := unused(path); err != nil {
			return fail(err)
		}
	}
	part := path + ".part"
	if err := copyFile(from, part); err != nil {
		return fail(errors.Join(err, discard(part)))
	}
	if err := errors.Join(inspectCopy(part), LikeOwner(part, path)); err != nil {
		return fail(errors.Join(err, discard(part)))
	}
	if had {
		if kept, err = moveAway(path, "replaced", now); err != nil {
			return fail(errors.Join(err, discard(part)))
		}
	}
	if err := place.Written(part, path); err != nil {
		return kept, fmt.Errorf("journal %s: restore: %w; the old one is %s, the new one %s", path, err, kept, part)
	}
	return kept, nil
}

// unused refuses where any other program has the file open: in exclusive
// locking mode SQLite wants the write-ahead log for itself.
func unused(path string) (err error) {
	if head, err := readHead(path); err != nil || !bytes.HasPrefix(head, header) {
		return err // broken or empty: nobody can work with it
	}
	db, err := single(path, "rw", "busy_timeout(0)", "locking_mode(EXCLUSIVE)")
	if err != nil {
		return err
	}
	defer db.Close()
	const busy, locked = 5, 6
	if _, err = db.Exec("BEGIN EXCLUSIVE; ROLLBACK"); err != nil {
		if c := code(err); c == busy || c == locked {
			return fmt.Errorf("%w: stop the gateway first", ErrInUse)
		}
		if Damaged(err) {
			return nil
		}
	}
	return err
}

// inspectCopy accepts a whole journal of a schema that this program knows.
func inspectCopy(path string) (err error) {
	if err := begins(path); err != nil {
		return err
	}
	// Nobody else knows this file, so that SQLite need not look for a log.
	db, err := single(path, "ro")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	var app int64
	var version int
	var verdict string
	for q, to := range map[string]any{
		"PRAGMA application_id": &app, "PRAGMA user_version": &version, "PRAGMA integrity_check(1)": &verdict,
	} {
		if err := db.QueryRow(q).Scan(to); Damaged(err) {
			return fmt.Errorf("%w: %w", errDamaged, err)
		} else if err != nil {
			return err
		}
	}
	switch {
	case app != applicationID:
		return errors.New("this is no journal of a gateway")
	case version > len(migrations()):
		return fmt.Errorf("its schema is version %d and this program knows up to %d: install the newer program", version, len(migrations()))
	case verdict != "ok":
		return fmt.Errorf("%w: %s", errDamaged, verdict)
	}
	return nil
}

// single opens one connection; mode is SQLite's, of which "ro" is for a file
// that nobody else knows, and "reading" for one that may be written meanwhile.
func single(path, mode string, pragmas ...string) (*sql.DB, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	q := url.Values{"mode": {mode}, "_pragma": pragmas}
	switch mode {
	case "ro":
		q.Set("immutable", "1")
	case "reading":
		q.Set("mode", "ro")
	}
	u := url.URL{Scheme: "file", Opaque: (&url.URL{Path: abs}).EscapedPath(), RawQuery: q.Encode()}
	db, err := sql.Open("sqlite", u.String())
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	return db, nil
}

// code is SQLite's primary result code, 0 where err is none of its errors.
func code(err error) int {
	var se *sqlite.Error
	if errors.As(err, &se) {
		return se.Code() & 0xff
	}
	return 0
}

func readHead(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	head := make([]byte, headerLen)
	n, err := io.ReadFull(f, head)
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		err = nil
	}
	return head[:n], err
}

func copyFile(from, to string) (err error) {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := anew(to)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}

// moveAway renames the file and what belongs to it.
func moveAway(path, why string, now time.Time) (string, error) {
	to := fmt.Sprintf("%s.%s-%s", path, why, now.UTC().Format("20060102T150405Z"))
	for base, n := to, 2; taken(to); n++ {
		if n > 1000 {
			return "", fmt.Errorf("too many files like %s", base)
		}
		to = fmt.Sprintf("%s-%d", base, n)
	}
	for _, part := range []string{"", "-wal", "-shm"} {
		if err := place.Rename(path+part, to+part); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return "", err
		}
	}
	return to, nil
}

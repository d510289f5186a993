package journal

import (
	"context"
	"crypto/rand"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"fabricpot/control/garden"

	"modernc.org/sqlite"
)

// patience bounds every write: a card that takes longer counts as one that
// can't be written, so that whoever waits can go on without it.
const patience = 5 * time.Second

// Journal is an open journal.
type Journal struct {
	path string
	// now names files set aside; it decides nothing else.
	now   func() time.Time
	clock string

	// writing serialises the writers: SQLite has one at a time anyway, and
	// waiting here is fair where its own busy wait is not.
	writing sync.Mutex
	full    *sql.DB // intents: synchronous FULL
	easy    *sql.DB // everything else: synchronous NORMAL
	read    *sql.DB // queries

	// version is the file's schema.
	version int
	clockID int64
	names   map[string]int64
	stmts   statements
	recent  recent
	reading queries

	// instead tells of the broken file old in place of which this one is begun, where it
	// is empty; begun, that it was and is.
	instead, old string
	begun        bool

	// alone is set by Alone; claims are the locks that come of it, the last of them on
	// the file that is open.
	alone  bool
	claims []*os.File
}

// Option changes how a journal is opened.
type Option func(*Journal)

// WithClock names the clock that Moment.Mono counts on. Two runs that give the
// same name can subtract their monotonic times, so only a caller whose Mono is
// the kernel's time since boot may give BootClock. Without this option every
// run has a clock of its own, which is the conservative reading.
func WithClock(name string) Option { return func(j *Journal) { j.clock = name } }

// WithNow replaces the clock that names files set aside.
func WithNow(now func() time.Time) Option { return func(j *Journal) { j.now = now } }

// Alone has the journal to itself among those opened with it, until Close or the end of
// the program: Open answers ErrInUse where another has it, before anything is looked
// into, brought to a newer version or set aside. Where a file system knows no such lock
// nothing is claimed. Once open the file is not to be opened and closed here but by
// SQLite, whose locks would go with it (POSIX, fcntl).
func Alone() Option { return func(j *Journal) { j.alone = true } }

// BootClock is the kernel's name for this boot.
func BootClock() (string, error) {
	b, err := os.ReadFile("/proc/sys/kernel/random/boot_id")
	if err != nil {
		return "", fmt.Errorf("journal: the boot's id: %w", err)
	}
	return "boot " + strings.TrimSpace(string(b)), nil
}

// Open opens the journal at path, or begins one with mode 0600. A file that is
// no journal or is damaged is renamed, together with its write-ahead log, and a
// fresh one begun, which takes over what a start needs and can still be read; aside
// is then a sentence to show that tells where it went and what is lost, and Broken
// has it until BrokenTold. Nothing is ever deleted. A directory that can't be
// written, a journal of a newer version and another program's database are errors
// and are left alone.
func Open(path string, opts ...Option) (j *Journal, aside string, err error) {
	j = &Journal{path: path, now: time.Now, clock: "run " + rand.Text()}
	for _, o := range opts {
		o(j)
	}
	j.instead, j.old = cutShort(path, j.now())
	why, err := j.open()
	if err == nil && why != "" {
		j.part() // what is claimed stays so while the file is moved
		if j.instead, j.old, err = setAside(path, why, j.now()); err == nil {
			if why, err = j.open(); err == nil && why != "" {
				err = fmt.Errorf("a fresh file is broken too: %s", why)
			}
		}
		aside = j.instead
	}
	if err == nil && j.begun {
		aside = j.instead + j.salvage(j.old)
		err = j.SetMeta(brokenKey, aside)
	}
	if err != nil {
		j.shut()
		return nil, aside, fmt.Errorf("journal %s: %w", path, err)
	}
	return j, aside, nil
}

// open opens and checks. why is set where the file should be set aside.
func (j *Journal) open() (why string, err error) {
	had := len(j.claims)
	if err := j.claim(); err != nil {
		return "", err
	}
	if why, err = inspect(j.path); why != "" || err != nil {
		return why, err
	}
	if len(j.claims) == had {
		// There was no file; inspect began one.
		if err := j.claim(); err != nil {
			return "", err
		}
	}
	if j.full, err = j.connect("FULL", 1, false); err == nil {
		if j.easy, err = j.connect("NORMAL", 1, false); err == nil {
			j.read, err = j.connect("NORMAL", 3, true)
		}
	}
	if err != nil {
		return "", err
	}
	for _, step := range []func() error{j.check, j.migrate, j.begin} {
		if err = step(); Damaged(err) {
			return err.Error(), nil
		} else if err != nil {
			return "", err
		}
	}
	return "", nil
}

func (j *Journal) connect(sync string, conns int, readOnly bool) (*sql.DB, error) {
	abs, err := filepath.Abs(j.path)
	if err != nil {
		return nil, err
	}
	q := url.Values{}
	if st, err := os.Stat(abs); err == nil && st.Size() == 0 && !readOnly {
		// Only before the first page is written, and never on a file that
		// may be damaged: it would be changed.
		q.Add("_pragma", "auto_vacuum(2)") // incremental
	}
	// What a statement may have to undo is kept in memory (2): in a file it is
	// written to the card beside the log.
	for _, p := range []string{"busy_timeout(3000)", "journal_mode(WAL)", "synchronous(" + sync + ")", "foreign_keys(0)", "temp_store(2)"} {
		q.Add("_pragma", p)
	}
	// SQLite's own page cache is 2 MB a connection if nothing is said; the kernel
	// keeps the same pages once for all of them.
	q.Add("_pragma", "cache_size(-256)")
	switch {
	case readOnly:
		q.Add("_pragma", "query_only(1)")
	case sync == "FULL":
		// A checkpoint would make an intent wait for the whole log.
		q.Add("_pragma", "wal_autocheckpoint(0)")
	}
	q.Set("_txlock", "immediate")
	u := url.URL{Scheme: "file", Opaque: (&url.URL{Path: abs}).EscapedPath(), RawQuery: q.Encode()}
	db, err := sql.Open("sqlite", u.String())
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(conns)
	db.SetMaxIdleConns(conns)
	return db, nil
}

// errDamaged marks what only setting the file aside can mend.
var errDamaged = errors.New("the file is damaged")

// Damaged tells a broken file from a card or directory that misbehaves.
func Damaged(err error) bool {
	if errors.Is(err, errDamaged) {
		return true
	}
	// SQLite's primary result codes.
	const corrupt, notADatabase = 11, 26
	var se *sqlite.Error
	if errors.As(err, &se) {
		c := se.Code() & 0xff
		return c == corrupt || c == notADatabase
	}
	return false
}

// check runs SQLite's quick check over the whole file.
func (j *Journal) check() error {
	var app int64
	if err := j.easy.QueryRow("PRAGMA application_id").Scan(&app); err != nil {
		return err
	}
	var tables int
	if err := j.easy.QueryRow("SELECT count(*) FROM sqlite_schema").Scan(&tables); err != nil {
		return err
	}
	if app != applicationID && (app != 0 || tables > 0) {
		return errors.New("this is another program's database: name another file for the journal")
	}
	var verdict string
	if err := j.easy.QueryRow("PRAGMA quick_check(1)").Scan(&verdict); err != nil {
		return err
	}
	if verdict != "ok" {
		return fmt.Errorf("%w: %s", errDamaged, verdict)
	}
	return nil
}

// begin registers the clock and prepares what runs often.
func (j *Journal) begin() error {
	if _, err := j.easy.Exec("INSERT INTO clocks(name) VALUES(?) ON CONFLICT DO NOTHING", j.clock); err != nil {
		return err
	}
	if err := j.easy.QueryRow("SELECT id FROM clocks WHERE name=?", j.clock).Scan(&j.clockID); err != nil {
		return err
	}
	if err := j.loadNames(); err != nil {
		return err
	}
	j.version = len(migrations())
	if err := j.waiting(); err != nil {
		return err
	}
	return j.stmts.prepare(j)
}

// Close checkpoints the write-ahead log and closes the file.
func (j *Journal) Close() error {
	j.writing.Lock()
	defer j.writing.Unlock()
	return j.shut()
}

func (j *Journal) shut() error {
	errs := []error{j.part()}
	for _, f := range j.claims { // only now: see Alone
		errs = append(errs, f.Close())
	}
	j.claims = nil
	if err := errors.Join(errs...); err != nil {
		return fmt.Errorf("journal %s: close: %w", j.path, err)
	}
	return nil
}

// part closes SQLite's files.
func (j *Journal) part() error {
	j.stmts.close()
	j.reading.close()
	var errs []error
	for _, db := range []**sql.DB{&j.read, &j.full, &j.easy} {
		if *db != nil {
			errs = append(errs, (*db).Close())
			*db = nil
		}
	}
	return errors.Join(errs...)
}

// claim has the file at the journal's path, where there is one, to itself: see Alone.
func (j *Journal) claim() error {
	if !j.alone {
		return nil
	}
	if err := j.claimFile(); err != nil {
		return fmt.Errorf("%w: another gateway keeps it; stop that one, or name another file with --journal", err)
	}
	return nil
}

// Path is where the journal is.
func (j *Journal) Path() string { return j.path }

// Ping reports whether the journal can be written right now, by writing.
func (j *Journal) Ping(at garden.Moment) error {
	return j.write("ping", func(ctx context.Context, tx *sql.Tx) error {
		return j.setMeta(ctx, tx, "alive", at.Wall.UTC().Format(time.RFC3339))
	})
}

// write runs f in a transaction on the easy connection.
func (j *Journal) write(what string, f func(context.Context, *sql.Tx) error) error {
	j.writing.Lock()
	defer j.writing.Unlock()
	err := inTx(j.easy, f)
	if err != nil {
		return fmt.Errorf("journal: %s: %w", what, err)
	}
	return nil
}

// errClosed is returned once the journal is closed.
var errClosed = errors.New("the journal is closed")

func inTx(db *sql.DB, f func(context.Context, *sql.Tx) error) error {
	if db == nil {
		return errClosed
	}
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	if err := f(ctx, tx); err != nil {
		return errors.Join(err, ignoreDone(tx.Rollback()))
	}
	return tx.Commit()
}

func ignoreDone(err error) error {
	if errors.Is(err, sql.ErrTxDone) {
		return nil
	}
	return err
}

package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
)

// journalPatience is more than a command takes that writes into the journal.
const journalPatience = 5 * time.Second

// openJournal opens the garden's journal for itself alone and says where it is. A bench
// begins each time with an empty one: its calendar starts over, and yesterday's journal
// would lie in its future.
//
// A command that finds no gateway holds it for a moment: that is waited for.
func openJournal(s streams, u *understood, flag string, bench bool) (*journal.Journal, error) {
	path := flag
	opts := []journal.Option{journal.Alone()}
	switch {
	case path != "":
	case bench:
		dir, err := os.MkdirTemp("", "fabricpot-bench-")
		if err != nil {
			return nil, fmt.Errorf("journal: %w", err)
		}
		path = filepath.Join(dir, "journal.db")
	case u.garden.JournalFile != "":
		path = u.garden.JournalFile
	default:
		dir, err := stateDir()
		if err != nil {
			return nil, err
		}
		path = filepath.Join(dir, "journal.db")
	}
	// Others read it in the status, from folders of their own.
	path, err := filepath.Abs(path)
	if err != nil {
		return nil, fmt.Errorf("journal: %w", err)
	}
	if !bench {
		if clock, err := journal.BootClock(); err == nil {
			opts = append(opts, journal.WithClock(clock))
		}
	}
	j, aside, err := journal.Open(path, opts...)
	if errors.Is(err, journal.ErrInUse) {
		fmt.Fprintf(s.err, "journal: %s is in use: waiting for up to %v for a command that may have it\n", path, journalPatience)
	}
	for end := time.Now().Add(journalPatience); errors.Is(err, journal.ErrInUse) && time.Now().Before(end); {
		time.Sleep(50 * time.Millisecond)
		j, aside, err = journal.Open(path, opts...)
	}
	if err != nil {
		return nil, err
	}
	if aside != "" {
		fmt.Fprintln(s.err, "journal:", aside)
	}
	fmt.Fprintln(s.err, "journal:", path)
	return j, nil
}

// ours refuses a bench a journal with a past: what it orders in its July would mix with
// what was ordered in that.
func ours(j *journal.Journal, bench bool) error {
	if !bench {
		return nil
	}
	past, err := j.HasPast()
	if err == nil && past {
		err = fmt.Errorf("journal %s: it has a past, and a bench begins its calendar anew: name a new file with --journal, or move this one away", j.Path())
	}
	return err
}

// serviceDir is where the installed service keeps what must survive.
const serviceDir = "/var/lib/fabricpot"

// stateDir is where a gateway keeps what must survive, and makes that folder.
func stateDir() (string, error) {
	dir, err := statePlace()
	if err == nil {
		err = os.MkdirAll(dir, 0o700)
	}
	if err != nil {
		return "", fmt.Errorf("journal: %w; name a file with --journal", err)
	}
	return dir, nil
}

// statePlace is stateDir without making it: the service manager's folder, the service's
// for root where it is installed, or the user's own.
func statePlace() (string, error) {
	if dir := os.Getenv("STATE_DIRECTORY"); dir != "" {
		return filepath.SplitList(dir)[0], nil
	}
	dir := os.Getenv("XDG_STATE_HOME")
	// Root on a board means the service's journal and limits, not some of its own.
	if st, err := os.Stat(serviceDir); dir == "" && err == nil && st.IsDir() && os.Geteuid() == 0 {
		return serviceDir, nil
	}
	if dir == "" {
		home, err := os.UserHomeDir()
		if err != nil {
			return "", err
		}
		dir = filepath.Join(home, ".local", "state")
	}
	return filepath.Join(dir, "fabricpot"), nil
}

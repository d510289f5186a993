package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/page"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"

	"github.com/spf13/cobra"
)

// workFlags say where the gardener's list is: behind a running gateway's socket,
// or with none running in the journal.
type workFlags struct {
	socket, journal, file string
	// reads is how whoever wrote the garden file reads, once that was asked.
	reads units.Reads
}

func (f *workFlags) on(cmd *cobra.Command) {
	socketFlag(cmd, &f.socket)
	cmd.Flags().StringVar(&f.journal, "journal", "", "with no gateway running: the journal `FILE`; none: the garden file's, or the usual one")
}

// garden adds the flag that names the garden file, for commands whose arguments
// mean something else.
func (f *workFlags) garden(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.file, "garden", "", "with no gateway running: the garden `FILE` whose journal is meant")
}

// ask asks the running gateway; with none running it hands the garden's book,
// opened from the journal, to alone. It says on the error stream which it did.
func (f *workFlags) ask(ctx context.Context, s streams, method, path string, in, out any, alone func(*runner.FeedBook, garden.Moment) error) error {
	err := page.NewClient(f.socket).Do(ctx, method, path, in, out)
	if !errors.Is(err, page.ErrNobody) {
		if err == nil {
			fmt.Fprintln(s.err, "through the running gateway")
		}
		return err
	}
	if f.file == "" {
		return fmt.Errorf("%w: name the garden file to use its journal", err)
	}
	u, lerr := understand([]string{f.file})
	if lerr != nil {
		return lerr
	}
	f.reads = u.source.Reads
	where, lerr := f.journalPath(u)
	if lerr != nil {
		return lerr
	}
	if _, serr := os.Stat(where); errors.Is(serr, fs.ErrNotExist) {
		return fmt.Errorf("%w, and there is no journal at %s yet: start the gateway once, or name its journal with --journal", err, where)
	}
	j, lerr := openAlone(s, where)
	if lerr != nil {
		return lerr
	}
	defer j.Close()
	plan, lerr := feeding.NewPlan(u.garden, u.plan)
	if lerr != nil {
		return lerr
	}
	now := runner.NewBoardClock(u.garden.Site.Zone).Moment()
	book, lerr := runner.OpenFeedBook(u.garden, plan, j, now)
	if lerr != nil {
		return lerr
	}
	fmt.Fprintln(s.err, "no gateway is running: on its journal", where)
	return alone(book, now)
}

// openAlone opens the journal that no gateway keeps. One may, behind another socket than
// the one that was asked: it would not hear of what is written here.
func openAlone(s streams, path string) (*journal.Journal, error) {
	j, aside, err := journal.Open(path, journal.Alone())
	if errors.Is(err, journal.ErrInUse) {
		return nil, fmt.Errorf("%w; or name that gateway's socket with --socket", err)
	}
	if aside != "" {
		fmt.Fprintln(s.err, "journal:", aside)
	}
	return j, err
}

// journalPath is where the garden's journal is when no gateway runs.
func (f *workFlags) journalPath(u *understood) (string, error) {
	switch {
	case f.journal != "":
		return f.journal, nil
	case u.garden.JournalFile != "":
		return u.garden.JournalFile, nil
	case u.garden.Hardware.Kind == garden.Bench:
		return "", errors.New("no gateway is running, and a bench keeps no journal when it ends: name one with --journal")
	}
	dir, err := stateDir()
	if err != nil {
		return "", err
	}
	return filepath.Join(dir, "journal.db"), nil
}

// listening is the page's journal: a reading of what drained, entered on the
// page, reaches the running loop too.
type listening struct {
	*journal.Journal
	desk *runner.Desk
}

// AddNote keeps a note.
func (l listening) AddNote(n journal.Note) error {
	if err := l.Journal.AddNote(n); err != nil {
		return err
	}
	if n.Kind == journal.DrainageKind && n.Value.Known {
		l.desk.Drained(feeding.Drainage{Zone: n.Zone, At: n.At.Wall, MS: n.Value.Value})
	}
	return nil
}

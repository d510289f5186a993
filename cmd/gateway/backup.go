package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/page"
	"fabricpot/cmd/gateway/internal/runner"

	"github.com/spf13/cobra"
)

func newBackup(s streams) *cobra.Command {
	var garden, file string
	var keep int
	cmd := &cobra.Command{
		Use:   "backup FILE|FOLDER",
		Short: "Copy the journal while the gateway runs",
		Long: `backup writes a copy of the journal as it is at one moment, whole and checked,
while a gateway may go on writing to it. FILE must not exist yet. Into a FOLDER
it writes a file named after the day, in place of one of the same day, and keeps
the newest of its own copies there.

A backup on the same card dies with the card: name a folder on another disk, or
copy the files away.`,
		Example: `  gateway backup --garden my-terrace.yaml /media/stick/terrace.db
  gateway backup --keep 30 /media/stick/`,
		Args: usage(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if keep < 1 {
				return wrongUse{fmt.Errorf("--keep %d: expected 1 or more", keep)}
			}
			from, err := journalPath(garden, file)
			if err != nil {
				return err
			}
			if _, err := os.Stat(from); errors.Is(err, fs.ErrNotExist) {
				return fmt.Errorf("journal %s: there is none; name it with --journal, or with --garden the garden file that does", from)
			}
			to := args[0]
			if st, err := os.Stat(to); err == nil && st.IsDir() {
				to, err = journal.BackupDaily(from, to, time.Now(), keep)
				if err != nil {
					return err
				}
			} else if err := journal.Backup(from, to); err != nil {
				return err
			}
			fmt.Fprintf(s.out, "%s backed up to %s\n", from, to)
			return nil
		},
	}
	cmd.Flags().IntVar(&keep, "keep", 14, "how many copies to keep in a FOLDER")
	journalFlags(cmd, &garden, &file)
	return cmd
}

func newRestore(s streams) *cobra.Command {
	var garden, file, socket string
	cmd := &cobra.Command{
		Use:   "restore FILE",
		Short: "Put a backup in the journal's place",
		Long: `restore puts the backup FILE in the journal's place and keeps the old journal
beside it under another name. It refuses while a gateway runs.

What was watered after the backup was made is not in it: look at the pots before
you start the gateway, since today's limits count from the backup.`,
		Args: usage(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			err := page.NewClient(socket).Do(cmd.Context(), http.MethodGet, "/status", nil, nil)
			if !errors.Is(err, page.ErrNobody) {
				return fmt.Errorf("a gateway is running (socket %s): stop it first", socket)
			}
			to, err := journalPath(garden, file)
			if err != nil {
				return err
			}
			kept, err := journal.Restore(args[0], to, time.Now())
			if err != nil {
				return err
			}
			if kept != "" {
				fmt.Fprintf(s.out, "the old journal is kept as %s\n", kept)
			}
			fmt.Fprintf(s.out, "%s restored from %s\n", to, args[0])
			return nil
		},
	}
	journalFlags(cmd, &garden, &file)
	socketFlag(cmd, &socket)
	return cmd
}

func journalFlags(cmd *cobra.Command, garden, file *string) {
	cmd.Flags().StringVar(garden, "garden", "", "garden `FILE`, which may say where the journal is")
	cmd.Flags().StringVar(file, "journal", "", "journal `FILE`; none: the garden file's, or the usual place")
}

// journalPath is where `run` keeps the journal of a garden on a board.
func journalPath(garden, file string) (string, error) {
	if file != "" {
		return file, nil
	}
	if garden != "" {
		g, err := loadGarden(garden)
		if err != nil {
			return "", err
		}
		if g.JournalFile != "" {
			return g.JournalFile, nil
		}
	}
	dir, err := stateDir()
	if err != nil {
		return "", err
	}
	return filepath.Join(dir, "journal.db"), nil
}

// tidyFirst lets the start be over before old samples are thinned; a board that
// crashes again and again then never gets to it, which harms nothing.
const tidyFirst, tidyEvery, tidyPause = time.Hour, 24 * time.Hour, 250 * time.Millisecond

// startTidying returns a function that ends it and waits for that.
func startTidying(ctx context.Context, j *journal.Journal, clock runner.Clock, errs io.Writer) func() {
	ctx, cancel := context.WithCancel(ctx)
	done := make(chan struct{})
	go func() {
		defer close(done)
		tidy(ctx, j, clock, errs)
	}()
	return func() {
		cancel()
		<-done
	}
}

// tidy thins the journal once a day until the context ends.
func tidy(ctx context.Context, j *journal.Journal, clock runner.Clock, errs io.Writer) {
	wait := func(ctx context.Context, d time.Duration) error {
		t := time.NewTimer(d)
		defer t.Stop()
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-t.C:
			return nil
		}
	}
	how := journal.DefaultRetention()
	how.Pause = func(ctx context.Context) error { return wait(ctx, tidyPause) }
	for d := tidyFirst; wait(ctx, d) == nil; d = tidyEvery {
		if _, err := j.Retain(ctx, clock.Moment(), how); err != nil && ctx.Err() == nil {
			fmt.Fprintln(errs, err)
		}
	}
}

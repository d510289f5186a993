// Command gateway keeps fabric pots watered: it reads moisture probes, decides
// irrigation and feeding pulses sized to each container, drives the valves and
// closes them whatever happens. `gateway --help` tells the rest.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"slices"
	"strings"
	"sync"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"fabricpot/cmd/gateway/internal/timezone"
)

// Exit codes, the same for every command.
const (
	exitDone     = 0
	exitFailed   = 1
	exitWrongUse = 2
)

func main() { os.Exit(program(os.Args[1:], openLines)) }

// program is the whole of it on a board whose outputs open gives.
func program(args []string, open opener) int {
	// Before anything asks what time it is here.
	time.Local = timezone.Local()
	// A pipe that nobody reads any more must not end the program with a line
	// open: writing to it fails, and that is all.
	signal.Ignore(syscall.SIGPIPE)
	// SIGTERM is how a service manager stops us, and SIGHUP how a lost terminal
	// does unless a running gateway reads its garden file anew at it; lines must be
	// closed in either case, so both end the context.
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	ctx, end := withHangup(ctx)
	defer end()
	return executeOn(ctx, streams{in: os.Stdin, out: os.Stdout, err: os.Stderr}, args, open)
}

// wrongUse marks an error as the caller's: the command line, not the garden.
type wrongUse struct{ error }

func (w wrongUse) Unwrap() error { return w.error }

// execute runs one command line and returns its exit code.
func execute(ctx context.Context, s streams, args []string) int {
	return executeOn(ctx, s, args, openLines)
}

func executeOn(ctx context.Context, s streams, args []string, open opener) int {
	said := &answers{to: s.out}
	s.out = said
	root := rootFor(args, s, open)
	root.SetArgs(args)
	cmd, err := root.ExecuteContextC(ctx)
	if err == nil {
		err = said.lost()
	}
	if err == nil {
		return exitDone
	}
	fmt.Fprintln(s.err, "gateway:", err)
	var use wrongUse
	if errors.As(err, &use) {
		fmt.Fprintf(s.err, "Try: %s --help\n", cmd.CommandPath())
		return exitWrongUse
	}
	return exitFailed
}

// answers remembers that an answer could not be written, of which no command asks
// each time: half of one must not pass for the whole.
type answers struct {
	to io.Writer

	mu  sync.Mutex
	err error
}

func (a *answers) Write(b []byte) (int, error) {
	n, err := a.to.Write(b)
	// Who reads no more wants no more.
	if err != nil && !errors.Is(err, syscall.EPIPE) {
		a.mu.Lock()
		defer a.mu.Unlock()
		a.err = err
	}
	return n, err
}

// lost is why something could not be written, nil where all was.
func (a *answers) lost() error {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.err != nil {
		return fmt.Errorf("the answer is not whole: %w", a.err)
	}
	return nil
}

// usage turns cobra's own argument checks into wrongUse errors. An empty argument,
// such as a variable that a script forgot to set, is nobody's file.
func usage(check cobra.PositionalArgs) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if i := slices.Index(args, ""); i >= 0 {
			return wrongUse{fmt.Errorf("argument %d is empty: expected %s", i+1, cmd.UseLine())}
		}
		if err := check(cmd, args); err != nil {
			if strings.Contains(err.Error(), "arg(s)") { // the library counts, and tells no more
				err = fmt.Errorf("%w: expected %s", err, cmd.UseLine())
			} else if len(cmd.ValidArgs) > 0 {
				err = fmt.Errorf("%q: expected %s", args[0], strings.Join(cmd.ValidArgs, " or "))
			}
			return wrongUse{err}
		}
		return nil
	}
}

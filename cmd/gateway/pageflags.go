package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/page"
	"fabricpot/cmd/gateway/internal/runner"

	"github.com/spf13/cobra"
)

// pageFlags are where the page is and who may see it.
type pageFlags struct {
	listen, passwordFile, cert, key string
	none                            bool
}

func (f *pageFlags) on(cmd *cobra.Command) {
	fl := cmd.Flags()
	fl.StringVar(&f.listen, "listen", page.DefaultListen, "`ADDRESS` of the page; anything but this machine alone needs a password")
	fl.StringVar(&f.passwordFile, "password-file", "", "`FILE` with the page's password, as 'gateway password' writes it; none: the usual place, if there is one")
	fl.StringVar(&f.cert, "tls-cert", "", "certificate `FILE` for the page, PEM")
	fl.StringVar(&f.key, "tls-key", "", "the certificate's key `FILE`, PEM")
	fl.BoolVar(&f.none, "no-page", false, "serve no page")
}

// passwordPath is the file that a flag of that name says, or the usual one, whose
// folder may not be there yet.
func passwordPath(name, flag string) (string, error) {
	if flag != "" {
		return flag, nil
	}
	dir, err := statePlace()
	if err != nil {
		return "", fmt.Errorf("password file: %w; name one with --%s, or with XDG_STATE_HOME a folder for all that the gateway keeps", err, name)
	}
	return filepath.Join(dir, "password"), nil
}

// door is the page's door, nil where none is wanted. What is wrong on the
// command line ends the program; nothing else about the page may.
func (f *pageFlags) door(s streams) (*page.Door, error) {
	if f.none {
		return nil, nil
	}
	d := &page.Door{Addr: f.listen, CertFile: f.cert, KeyFile: f.key}
	path, err := passwordPath("password-file", f.passwordFile)
	if err == nil {
		d.Secrets, err = page.LoadSecrets(path)
	}
	switch {
	case err == nil:
	case f.passwordFile == "" && errors.Is(err, fs.ErrNotExist):
	case f.passwordFile == "" && d.Check() == nil:
		// On this machine alone; but somebody wanted a password, so nothing is
		// opened without it.
		fmt.Fprintln(s.err, "page:", err, "- the garden is kept without the page")
		return nil, nil
	default:
		return nil, err
	}
	if err := d.Check(); err != nil {
		return nil, wrongUse{err}
	}
	return d, nil
}

// servePage serves the page in the background; the returned function ends it
// and waits until nobody reads the journal through it any more.
func servePage(ctx context.Context, s streams, rl *reloader, d *page.Door, desk *runner.Desk, link *brokerLink, told *messages, j *journal.Journal) (stop func()) {
	if d == nil {
		return func() {}
	}
	p, err := page.New(page.Options{
		Garden: rl.current().garden, Gateway: desk, History: listening{j, desk}, Acknowledge: desk.Acknowledge, Rest: desk.Rest, Plants: desk, Observer: desk,
		Rounds: desk.PageRounds(), NextFeed: desk.PageRounds().NextFeed, Season: seasonSoFar(rl.current, j), ConfirmClock: desk.ConfirmClock,
		Disk: func() (uint64, uint64, error) { return diskSpace(j.Path()) }, Secrets: d.Secrets, Version: version(),
		Broker: link.words, Ways: told.pageWays, Silent: told.silent,
	})
	if err != nil {
		fmt.Fprintln(s.err, "page:", err, "- the garden is kept without the page")
		return func() {}
	}
	rl.tellPage(p.Renew)
	ctx, cancel := context.WithCancel(ctx)
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		p.Keep(ctx, *d, func(line string) { fmt.Fprintln(s.err, line) })
	}()
	return func() {
		cancel()
		<-ended
	}
}

package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/page"

	"github.com/spf13/cobra"
	"golang.org/x/term"
)

func newPassword(s streams) *cobra.Command {
	var file string
	var guest, remove bool
	cmd := &cobra.Command{
		Use:   "password",
		Short: "Set the page's password",
		Long: `password sets what the page asks for before it shows anything, which it must
have before it may listen on more than this machine. It asks twice, or reads one
line from a pipe, and keeps only a hash, in a file of mode 0600. A running
gateway takes it at its next start.

--guest sets a second word for people who may look and do nothing.`,
		Args: usage(cobra.NoArgs),
		RunE: func(*cobra.Command, []string) error {
			if remove && !guest {
				return wrongUse{errors.New("--remove is for the guest's word: use it with --guest")}
			}
			path, err := passwordPath("file", file)
			if err == nil && file == "" {
				if err = os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
					err = fmt.Errorf("password file: %w; name one with --file, or with XDG_STATE_HOME a folder for all that the gateway keeps", err)
				}
			}
			if err != nil {
				return err
			}
			who, word := page.ForOwner, ""
			if guest {
				who = page.ForGuest
			}
			if !remove {
				if word, err = readPassword(s); err != nil {
					return err
				}
				if word == "" {
					return errors.New("no password given")
				}
			}
			if err := page.SavePassword(path, who, word); err != nil {
				return err
			}
			if err := journal.LikeOwner(path, filepath.Dir(path)); err != nil {
				return fmt.Errorf("password file: %w", err)
			}
			if remove {
				fmt.Fprintf(s.err, "the guest's password is no longer in %s; start the gateway again to shut guests out\n", path)
				return nil
			}
			fmt.Fprintf(s.err, "the %s's password is in %s; start the gateway again to use it\n", who, path)
			return nil
		},
	}
	cmd.Flags().StringVar(&file, "file", "", "password `FILE`; none: the usual place")
	cmd.Flags().BoolVar(&guest, "guest", false, "set the word for guests, who may only look")
	cmd.Flags().BoolVar(&remove, "remove", false, "with --guest: take the guests' word away")
	return cmd
}

// readPassword asks at a terminal, twice and without showing it, or reads the
// first line of a pipe.
func readPassword(s streams) (string, error) {
	f, ok := s.in.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		line, err := bufio.NewReader(io.LimitReader(s.in, 1024)).ReadString('\n')
		if err != nil && !errors.Is(err, io.EOF) {
			return "", fmt.Errorf("password: %w", err)
		}
		return strings.TrimRight(line, "\r\n"), nil
	}
	ask := func(words string) (string, error) {
		fmt.Fprint(s.err, words)
		b, err := term.ReadPassword(int(f.Fd()))
		fmt.Fprintln(s.err)
		return string(b), err
	}
	first, err := ask("Password: ")
	if err != nil {
		return "", fmt.Errorf("password: %w", err)
	}
	second, err := ask("Once more: ")
	if err != nil {
		return "", fmt.Errorf("password: %w", err)
	}
	if first != second {
		return "", errors.New("the two are not the same; nothing was changed")
	}
	return first, nil
}

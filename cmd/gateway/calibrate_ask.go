package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"fabricpot/control/garden"
)

// patience is how long a session waits for an answer. Nothing is open meanwhile:
// every line closes by its own deadline first.
const patience = 10 * time.Minute

var (
	errNobodyAnswers = errors.New("nobody answered")
	errInputEnded    = errors.New("the input ended before the session did")
	errDeclined      = errors.New("not begun")
)

// asker asks a person. It owns the input while it lives.
type asker struct {
	out      io.Writer
	lines    chan string
	failed   chan error
	patience time.Duration
}

// maxAnswer bounds a line of input.
const maxAnswer = 4096

// newAsker starts reading; the goroutine ends with the input or the context.
func newAsker(ctx context.Context, s streams, patience time.Duration) *asker {
	a := &asker{out: s.err, lines: make(chan string), failed: make(chan error, 1), patience: patience}
	go func() {
		sc := bufio.NewScanner(s.in)
		sc.Buffer(make([]byte, 0, 256), maxAnswer)
		for sc.Scan() {
			select {
			case a.lines <- sc.Text():
			case <-ctx.Done():
				return
			}
		}
		err := sc.Err()
		if err == nil {
			err = errInputEnded
		}
		a.failed <- err
	}()
	return a
}

// text asks one question. An empty answer is the default.
func (a *asker) text(ctx context.Context, question, otherwise string) (string, error) {
	if otherwise != "" {
		question += " [" + otherwise + "]"
	}
	fmt.Fprint(a.out, question, ": ")
	t := time.NewTimer(a.patience)
	defer t.Stop()
	select {
	case line := <-a.lines:
		if line = strings.TrimSpace(line); line == "" {
			line = otherwise
		}
		return line, nil
	case err := <-a.failed:
		a.failed <- err // for the next question
		fmt.Fprintln(a.out)
		return "", err
	case <-ctx.Done():
		fmt.Fprintln(a.out)
		return "", ctx.Err()
	case <-t.C:
		fmt.Fprintln(a.out)
		return "", fmt.Errorf("%w for %v", errNobodyAnswers, a.patience)
	}
}

// number asks until it gets a number between lo and hi, or one of the words,
// which it returns as word.
func (a *asker) number(ctx context.Context, question string, lo, hi float64, otherwise string, words ...string) (v float64, word string, err error) {
	for {
		s, err := a.text(ctx, question, otherwise)
		if err != nil {
			return 0, "", err
		}
		for _, w := range words {
			if strings.EqualFold(s, w) {
				return 0, w, nil
			}
		}
		v, err := strconv.ParseFloat(s, 64)
		if err == nil && garden.Finite(v) && v >= lo && v <= hi {
			return v, "", nil
		}
		expected := fmt.Sprintf("a number from %g to %g", lo, hi)
		if len(words) > 0 {
			expected += " or " + strings.Join(words, ", ")
		}
		fmt.Fprintf(a.out, "  %q: expected %s, decimals with a point\n", s, expected)
	}
}

// yes asks until it gets yes or no.
func (a *asker) yes(ctx context.Context, question, otherwise string) (bool, error) {
	for {
		s, err := a.text(ctx, question+" (yes/no)", otherwise)
		if err != nil {
			return false, err
		}
		switch strings.ToLower(s) {
		case "yes", "y":
			return true, nil
		case "no", "n":
			return false, nil
		}
		fmt.Fprintf(a.out, "  %q: expected yes or no\n", s)
	}
}

const safetyWords = `Before anything opens or is touched:
  - The hand valve of this supply is within reach, and it has been tried.
  - Your hands are dry, and so is the place where you stand.
  - You touch extra-low voltage only: 24 V or less from a safety isolating
    supply. Nothing that carries mains is open. Mains and pump wiring are work
    for a licensed electrician, and local codes decide.
  - Where fertiliser can be in the line, a backflow device that your local code
    accepts stands between it and drinking water.`

// safety says the safety words and asks.
func (a *asker) safety(ctx context.Context) error {
	fmt.Fprintln(a.out, safetyWords)
	ok, err := a.yes(ctx, "Is all of this so?", "")
	if err != nil {
		return err
	}
	if !ok {
		return fmt.Errorf("%w: put that right first; nothing was opened", errDeclined)
	}
	return nil
}

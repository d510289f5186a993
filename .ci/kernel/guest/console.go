package main

import (
	"bufio"
	"fmt"
	"os"
	"strings"

	"golang.org/x/sys/unix"
)

// host is the other end of the console. The guest prints
//
//	@ok WHAT   @FAIL WHAT: WHY   @note WORDS   @ask WORDS
//
// and the host answers each @ask with one line, "= ANSWER" or "! WHY NOT".
type host struct {
	in *bufio.Scanner
}

func newHost() (*host, error) {
	// Without this the console would send our own lines and its answers back.
	t, err := unix.IoctlGetTermios(0, unix.TCGETS)
	if err != nil {
		return nil, fmt.Errorf("console: %w", err)
	}
	t.Lflag &^= unix.ECHO | unix.ISIG
	if err := unix.IoctlSetTermios(0, unix.TCSETS, t); err != nil {
		return nil, fmt.Errorf("console: %w", err)
	}
	return &host{in: bufio.NewScanner(os.Stdin)}, nil
}

func (h *host) note(format string, a ...any) { fmt.Println("@note " + fmt.Sprintf(format, a...)) }

func (h *host) fail(what, format string, a ...any) {
	fmt.Println("@FAIL " + what + ": " + oneLine(fmt.Sprintf(format, a...)))
}

// check prints how one thing came out.
func (h *host) check(what string, err error) bool {
	if err != nil {
		h.fail(what, "%v", err)
		return false
	}
	fmt.Println("@ok " + what)
	return true
}

// ask has the host do or look at something.
func (h *host) ask(format string, a ...any) (string, error) {
	question := fmt.Sprintf(format, a...)
	fmt.Println("@ask " + question)
	if !h.in.Scan() {
		return "", fmt.Errorf("ask the host %q: the console ended", question)
	}
	answer, ok := strings.CutPrefix(h.in.Text(), "= ")
	if !ok {
		return "", fmt.Errorf("ask the host %q: %s", question, h.in.Text())
	}
	return answer, nil
}

// level is what a wire carries, "0" or "1", as seen from outside the board.
func (h *host) level(line int) (string, error) { return h.ask("level %d", line) }

// wantLevel reports a wire that carries something else.
func (h *host) wantLevel(line int, want string) error {
	got, err := h.level(line)
	if err == nil && got != want {
		err = fmt.Errorf("line %d carries %s, expected %s", line, got, want)
	}
	return err
}

// during runs f and returns what a pin did meanwhile: its state before, "in",
// "0" or "1", and every other one after it. writes is how many registers of the
// chip were written.
func (h *host) during(line int, f func() error) (history string, writes int, err error) {
	if _, err := h.ask("mark"); err != nil {
		return "", 0, err
	}
	if err := f(); err != nil {
		return "", 0, err
	}
	return h.history(line)
}

func (h *host) history(line int) (history string, writes int, err error) {
	answer, err := h.ask("since %d", line)
	if err != nil {
		return "", 0, err
	}
	if _, err := fmt.Sscanf(answer, "%d", &writes); err != nil {
		return "", 0, fmt.Errorf("the host answered %q: %w", answer, err)
	}
	_, history, _ = strings.Cut(answer, " ")
	return history, writes, nil
}

// wantHistory is during, held against what the pin should have done.
func (h *host) wantHistory(line int, want string, f func() error) error {
	got, _, err := h.during(line, f)
	if err == nil && got != want {
		err = fmt.Errorf("the pin of line %d went through %q, expected %q", line, got, want)
	}
	return err
}

func oneLine(s string) string { return strings.ReplaceAll(strings.TrimSpace(s), "\n", "; ") }

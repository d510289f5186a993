package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"
)

// board is a machine that runs.
type board struct {
	machine
	qmp   *monitor
	qtest *wire // nil where the board has none
	trace string
	// mark is where in the trace the guest began to look.
	mark int64
	// busFun is the I²C controller's function register while it is off.
	busFun string
	// chipAt is where the emulator keeps the GPIO chip, once it was looked for.
	chipAt string
	// resetBy is until when a reset is expected.
	resetBy time.Time
}

// run boots the machine, serves the guest until it ends, and judges how.
func (m machine) run(ctx context.Context, dir string, say func(kind, words string)) error {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return err
	}
	at := func(ext string) string { return filepath.Join(dir, m.name+ext) }
	for _, old := range []string{".trace", ".qmp", ".qtest"} {
		if err := os.Remove(at(old)); err != nil && !errors.Is(err, os.ErrNotExist) {
			return err
		}
	}
	args := append(m.args, "-accel", "tcg", "-nic", "none", "-display", "none", "-serial", "stdio", "-no-reboot",
		"-kernel", at(".kernel"), "-initrd", at(".initrd"),
		"-qmp", "unix:"+at(".qmp")+",server=on,wait=off",
		"-qtest", "unix:"+at(".qtest")+",server=on,wait=off", "-qtest-log", "none",
		"-trace", "enable="+m.event, "-D", at(".trace"))
	if _, err := os.Stat(at(".dtb")); err == nil { // the other board describes itself
		args = append(args, "-dtb", at(".dtb"))
	}
	cmd := exec.CommandContext(ctx, m.qemu, args...)
	cmd.WaitDelay = 2 * time.Second
	in, err := cmd.StdinPipe()
	if err != nil {
		return err
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		return err
	}
	log, err := os.Create(at(".log"))
	if err != nil {
		return err
	}
	defer log.Close()
	cmd.Stderr = log
	if err := cmd.Start(); err != nil {
		return err
	}
	b := &board{machine: m, trace: at(".trace")}
	b.qmp, err = dialMonitor(at(".qmp"))
	if err == nil {
		b.qtest, err = dial(at(".qtest"))
	}
	if err != nil {
		return errors.Join(err, cmd.Process.Kill(), cmd.Wait())
	}
	checks := b.serve(io.TeeReader(out, log), in, say)
	ended := time.Now()
	werr := cmd.Wait()
	switch why := b.qmp.ended(); {
	case ctx.Err() != nil:
		return fmt.Errorf("not done after %v, see %s", m.limit, log.Name())
	case werr != nil:
		return fmt.Errorf("the emulator: %w, see %s", werr, log.Name())
	case why != "guest-reset":
		return fmt.Errorf("the board ended with %q, expected the watchdog's reset, see %s", why, log.Name())
	case b.resetBy.IsZero():
		return fmt.Errorf("the board was reset before it should be, see %s", log.Name())
	case ended.After(b.resetBy):
		return fmt.Errorf("the reset came %v late", ended.Sub(b.resetBy).Round(time.Second))
	}
	say("ok", fmt.Sprintf("the watchdog reset the board whose gateway hung, %.0f s before the time given was over", b.resetBy.Sub(ended).Seconds()))
	if checks++; checks != m.checks {
		return fmt.Errorf("%d checks were made, expected %d", checks, m.checks)
	}
	return nil
}

// serve reads the console until the board ends, and returns the number of checks
// that were reported.
func (b *board) serve(out io.Reader, in io.Writer, say func(kind, words string)) (checks int) {
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		_, words, ok := strings.Cut(lines.Text(), "@")
		if !ok {
			continue
		}
		kind, words, _ := strings.Cut(strings.TrimSpace(words), " ")
		switch kind {
		case "ask":
			answer, err := b.answer(words)
			reply := "= " + answer
			if err != nil {
				reply = "! " + strings.ReplaceAll(err.Error(), "\n", "; ")
			}
			// A board that is gone shows by the end of its console.
			_, _ = fmt.Fprintln(in, reply)
		case "ok", "FAIL":
			checks++
			say(kind, words)
		case "note":
			say(kind, words)
		}
	}
	return checks
}

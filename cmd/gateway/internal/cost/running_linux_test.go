package cost_test

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/page"
	"fabricpot/testdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// program is a started gateway or baseline.
type program struct {
	t      *testing.T
	cmd    *exec.Cmd
	folder string
	err    string // where its stderr goes
	client *page.Client
	began  time.Time
	said   *listener
}

// listener keeps what a program says on stderr and notes when it said a line.
type listener struct {
	to   io.Writer
	line string
	at   chan time.Time // when, once
	got  []byte
}

func (l *listener) Write(b []byte) (int, error) {
	if l.got = append(l.got, b...); l.line != "" && strings.Contains(string(l.got), l.line) {
		l.at <- time.Now()
		l.line = ""
	}
	return l.to.Write(b)
}

// build makes both programs, without symbols as they ship.
func build(t *testing.T) (gateway, baseline string) {
	t.Helper()
	dir := t.TempDir()
	make := func(name, pkg string) string {
		out := filepath.Join(dir, name)
		cmd := exec.Command("go", "build", "-ldflags=-s -w", "-o", out, pkg)
		said, err := cmd.CombinedOutput()
		require.NoError(t, err, "%s", said)
		return out
	}
	return make("gateway", "fabricpot/cmd/gateway"), make("baseline", "fabricpot/cmd/gateway/internal/cost/baseline")
}

func start(t *testing.T, path, socket, line string, args func(folder string) []string) *program {
	t.Helper()
	p := &program{t: t, folder: t.TempDir()}
	p.client = page.NewClient(filepath.Join(p.folder, socket))
	p.err = filepath.Join(p.folder, "stderr")
	out, err := os.Create(p.err)
	require.NoError(t, err)
	p.said = &listener{to: out, line: line + "\n", at: make(chan time.Time, 1)}
	p.cmd = exec.Command(path, args(p.folder)...)
	p.cmd.Stderr = p.said
	p.began = time.Now()
	require.NoError(t, p.cmd.Start())
	t.Cleanup(func() { _ = p.cmd.Process.Kill(); _ = p.cmd.Wait(); _ = out.Close() })
	return p
}

// saysSo waits until it says what it was started for, and says how long after its
// start that was.
func (p *program) saysSo() time.Duration {
	p.t.Helper()
	select {
	case at := <-p.said.at:
		return at.Sub(p.began)
	case <-time.After(time.Minute):
		said, _ := os.ReadFile(p.err)
		p.t.Fatalf("not said within a minute: %s", said)
		return 0
	}
}

func startBaseline(t *testing.T, path string) *program {
	return start(t, path, "base.sock", "open", func(folder string) []string { return []string{folder} })
}

// startGateway runs the twelve pots with page, metrics, broker and journal.
func startGateway(t *testing.T, path string, speed int) *program {
	return start(t, path, "gw.sock", "start: 12 of 12 lines confirmed closed", func(folder string) []string {
		garden := filepath.Join(folder, "garden.yaml")
		require.NoError(t, os.WriteFile(garden, append(slices.Clone(testdata.Garden12), "\nbroker: { url: embedded }\n"...), 0o600))
		return []string{"run", garden, "--speed", strconv.Itoa(speed), "--date", "2026-07-01", "--journal", filepath.Join(folder, "journal.db"),
			"--socket", filepath.Join(folder, "gw.sock"), "--listen", "127.0.0.1:0", "--broker-listen", "127.0.0.1:0"}
	})
}

// status is what both answer with; the baseline's is empty.
type status struct {
	At    time.Time `json:"at"`
	Lines []struct {
		Confirmed bool `json:"closed_confirmed"`
	} `json:"lines"`
}

func (p *program) status() (s status, err error) {
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	return s, p.client.Do(ctx, "GET", "/status", nil, &s)
}

// ready waits until it answers, with so many lines confirmed closed, and says how
// long after its start that was.
func (p *program) ready(lines int) time.Duration {
	p.t.Helper()
	for time.Since(p.began) < time.Minute {
		if s, err := p.status(); err == nil && len(s.Lines) == lines &&
			!slices.ContainsFunc(s.Lines, func(l struct {
				Confirmed bool `json:"closed_confirmed"`
			}) bool {
				return !l.Confirmed
			}) {
			return time.Since(p.began)
		}
		time.Sleep(time.Millisecond)
	}
	said, _ := os.ReadFile(p.err)
	p.t.Fatalf("not ready within a minute: %s", said)
	return 0
}

// stop ends it as a service manager does, and says how long that took.
func (p *program) stop() time.Duration {
	p.t.Helper()
	began := time.Now()
	require.NoError(p.t, p.cmd.Process.Signal(syscall.SIGTERM))
	err := p.cmd.Wait()
	said, _ := os.ReadFile(p.err)
	require.NoError(p.t, err, "%s", said)
	return time.Since(began)
}

// onlyLinked is how long the baseline takes that is told of no folder: it opens
// nothing, says how it is used and ends.
func onlyLinked(t *testing.T, path string) time.Duration {
	t.Helper()
	began := time.Now()
	var code *exec.ExitError
	require.ErrorAs(t, exec.Command(path).Run(), &code)
	require.Equal(t, 2, code.ExitCode())
	return time.Since(began)
}

func (p *program) proc(name string) string {
	p.t.Helper()
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/%s", p.cmd.Process.Pid, name))
	require.NoError(p.t, err)
	return string(b)
}

// number is the figure after a name in a file of the process's.
func (p *program) number(file, name string) float64 {
	p.t.Helper()
	m := regexp.MustCompile(`(?m)^` + name + `:\s*(\d+)`).FindStringSubmatch(p.proc(file))
	require.NotNil(p.t, m, "%s in %s", name, file)
	v, err := strconv.ParseFloat(m[1], 64)
	require.NoError(p.t, err)
	return v
}

// usage is what a process has used up to now.
type usage struct {
	at             time.Time // bench time
	cpu            time.Duration
	wrote, toDisk  float64 // bytes
	kept           float64 // bytes of the journal
	files          int
	goroutines     int
	residentKB     float64
	residentAnonKB float64
}

func (p *program) usage() usage {
	p.t.Helper()
	s, err := p.status()
	require.NoError(p.t, err)
	u := usage{at: s.At, wrote: p.number("io", "wchar"), toDisk: p.number("io", "write_bytes"),
		residentKB: p.number("status", "VmRSS"), residentAnonKB: p.number("status", "RssAnon")}
	// User and system time are fields 14 and 15, in ticks of 10 ms (proc(5)).
	_, rest, _ := strings.Cut(p.proc("stat"), ") ")
	f := strings.Fields(rest)
	for _, i := range []int{11, 12} {
		n, err := strconv.Atoi(f[i])
		require.NoError(p.t, err)
		u.cpu += time.Duration(n) * 10 * time.Millisecond
	}
	fds, err := os.ReadDir(fmt.Sprintf("/proc/%d/fd", p.cmd.Process.Pid))
	require.NoError(p.t, err)
	u.files = len(fds)
	if st, err := os.Stat(filepath.Join(p.folder, "journal.db")); err == nil {
		u.kept = float64(st.Size())
	}
	return u
}

// goroutines asks the page's metrics several times and takes the least: what comes
// and goes with a request is not kept.
func (p *program) goroutines() int {
	p.t.Helper()
	least := p.goroutinesNow()
	for range 9 {
		time.Sleep(100 * time.Millisecond)
		least = min(least, p.goroutinesNow())
	}
	return least
}

func (p *program) goroutinesNow() int {
	p.t.Helper()
	said, err := os.ReadFile(p.err)
	require.NoError(p.t, err)
	page := regexp.MustCompile(`page: (http://\S+/)`).FindSubmatch(said)
	require.NotNil(p.t, page, "%s", said)
	body := fetch(p.t, string(page[1])+"metrics")
	lines := bufio.NewScanner(strings.NewReader(body))
	for lines.Scan() {
		if v, ok := strings.CutPrefix(lines.Text(), "go_goroutines "); ok {
			n, err := strconv.Atoi(v)
			require.NoError(p.t, err)
			return n
		}
	}
	p.t.Fatal("no go_goroutines among the metrics")
	return 0
}

// until waits for the bench's clock.
func (p *program) until(at time.Time) {
	p.t.Helper()
	for began := time.Now(); time.Since(began) < 10*time.Minute; time.Sleep(50 * time.Millisecond) {
		if s, err := p.status(); err == nil && s.At.After(at) {
			return
		}
	}
	p.t.Fatalf("the bench did not get to %v within ten minutes", at)
}

func median(d []time.Duration) time.Duration {
	slices.Sort(d)
	return d[len(d)/2]
}

// TestRunning measures the real program. Its bounds are not the aims but what
// would be a step back: they stand above what was measured on a busy machine by
// more than its runs differ.
func TestRunning(t *testing.T) {
	gateway, baseline := build(t)
	const lines = 12
	t.Run("start and stop", func(t *testing.T) {
		runs := 7
		if testing.Short() {
			runs = 3
		}
		var closed, up, linked, baseOpen, baseUp []time.Duration
		// At once after the start, whose last work is then still going on, and later.
		var down, baseDown [2][]time.Duration
		for i := range 2 * runs {
			settle := time.Duration(i%2) * time.Second
			linked = append(linked, onlyLinked(t, baseline))
			b := startBaseline(t, baseline)
			baseOpen = append(baseOpen, b.saysSo())
			baseUp = append(baseUp, b.ready(0))
			time.Sleep(settle)
			baseDown[i%2] = append(baseDown[i%2], b.stop())
			g := startGateway(t, gateway, 1)
			closed = append(closed, g.saysSo())
			up = append(up, g.ready(lines))
			time.Sleep(settle)
			down[i%2] = append(down[i%2], g.stop())
		}
		closes, starts := ratio(median(closed), median(baseOpen)), ratio(median(up), median(baseUp))
		t.Logf("start to all lines confirmed closed: %v, baseline %v: × %.1f; only linked %v: × %.1f",
			median(closed), median(baseOpen), closes, median(linked), ratio(median(closed), median(linked)))
		t.Logf("start to its first round published: %v, baseline %v: × %.1f", median(up), median(baseUp), starts)
		assert.Less(t, closes, 3.0)
		assert.Less(t, starts, 10.0)
		for i, when := range []string{"at once", "a second later"} {
			stops := ratio(median(down[i]), median(baseDown[i]))
			t.Logf("stop, %s: %v, baseline %v: × %.1f", when, median(down[i]), median(baseDown[i]), stops)
			assert.Less(t, stops, 15.0)
		}
	})
	t.Run("a month", func(t *testing.T) {
		days := 30
		if testing.Short() {
			days = 4
		}
		b := startBaseline(t, baseline)
		b.ready(0)
		g := startGateway(t, gateway, 100000)
		g.ready(lines)
		first, err := g.status()
		require.NoError(t, err)
		// A day and a half for whatever is made once.
		g.until(first.At.Add(36 * time.Hour))
		from := g.usage()
		from.goroutines = g.goroutines()
		g.until(from.at.AddDate(0, 0, days))
		to := g.usage()
		to.goroutines = g.goroutines()
		base := b.usage()
		hours := to.at.Sub(from.at).Hours()
		memory, anon := to.residentKB/base.residentKB, to.residentAnonKB/base.residentAnonKB
		kept := (to.kept - from.kept) / hours * 24
		wrote := (to.wrote - from.wrote) / hours * 24
		disk := (to.toDisk - from.toDisk) / hours * 24
		cpu := time.Duration(float64(to.cpu-from.cpu) / hours)
		t.Logf("%.0f hours of the bench", hours)
		t.Logf("resident %.1f MB, baseline %.1f MB: × %.2f; of it no file's %.1f and %.1f MB: × %.2f",
			to.residentKB/1e3, base.residentKB/1e3, memory, to.residentAnonKB/1e3, base.residentAnonKB/1e3, anon)
		t.Logf("processor time for an hour of the bench, its soil included: %v; the baseline's start took %v", cpu, base.cpu)
		t.Logf("written a day %.1f MB by calls, %.1f MB to the disk; kept %.2f MB: × %.1f and %.1f", wrote/1e6, disk/1e6, kept/1e6, wrote/kept, disk/kept)
		t.Logf("open files %d, then %d; goroutines %d, then %d", from.files, to.files, from.goroutines, to.goroutines)
		assert.Less(t, memory, 4.0)
		assert.Less(t, max(wrote, disk)/kept, 12.0)
		assert.LessOrEqual(t, to.files, from.files+3)
		assert.LessOrEqual(t, to.goroutines, from.goroutines+3)
		g.stop()
	})
}

func ratio(a, b time.Duration) float64 { return float64(a) / float64(b) }

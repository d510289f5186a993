package main

import (
	"context"
	"encoding/xml"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/page"
	"fabricpot/cmd/gateway/internal/report"
	"fabricpot/cmd/gateway/internal/socket"
	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control/garden"
	"fabricpot/sensors"
	"fabricpot/testdata"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// answered runs one command line with a person's answers on its input.
func answered(ctx context.Context, in io.Reader, args ...string) (code int, out, err *output) {
	out, err = &output{}, &output{}
	code = execute(ctx, streams{in: in, out: out, err: err}, args)
	return code, out, err
}

// example writes the example garden into a folder of its own.
func example(t *testing.T) (file, sock string) {
	t.Helper()
	dir := t.TempDir()
	file = filepath.Join(dir, "garden.yaml")
	require.NoError(t, os.WriteFile(file, testdata.Terrace, 0o600))
	return file, filepath.Join(dir, "s")
}

// TestCalibrateFromWeights writes a file from a table of weights, names it in
// the garden file and finds the curve there. The probe is invented: a line from
// 2.5 V at 5 % to 1.3 V at 53 %.
func TestCalibrateFromWeights(t *testing.T) {
	file, sock := example(t)
	var table strings.Builder
	table.WriteString("volts,weight,temperature\n")
	for i := range 9 {
		v := 1.3 + 0.15*float64(i)
		water := 1.05 - 0.4*v
		table.WriteString(strings.Join([]string{num(v), num(310 + 480 + 3000*water), "21"}, ",") + "\n")
	}
	csv := filepath.Join(t.TempDir(), "w.csv")
	require.NoError(t, os.WriteFile(csv, []byte(table.String()), 0o600))
	svg := filepath.Join(t.TempDir(), "c.svg")
	args := []string{"calibrate", "light", file, "--points", csv, "--tare", "310", "--dry", "480", "--volume", "3", "--height", "18", "--svg", svg, "--socket", sock}
	code, out, errs := gateway(context.Background(), args...)
	require.Equal(t, exitDone, code, errs.String())
	for _, want := range []string{"curve", "line", "widest gap", "21.0 to 21.0 °C", "scatter", "capacity: "} {
		assert.Contains(t, out.String(), want)
	}
	picture, err := os.ReadFile(svg)
	require.NoError(t, err)
	assert.NoError(t, xml.Unmarshal(picture, new(struct{})))
	assert.Equal(t, 9+1, strings.Count(string(picture), "<circle "), "a dot for each point, and one in the key")
	for _, want := range []string{">1.30 V<", ">2.50 V<", ">60 %<", "water % by voltage<", ">points<"} {
		assert.Contains(t, string(picture), want)
	}

	written := filepath.Join(filepath.Dir(file), "light.calibration.yaml")
	named := strings.Replace(string(testdata.Terrace), "    calibration:\n      method: two-point\n      points:\n        - { volts: 2.55 V, water: 10 % }\n        - { volts: 1.35 V, water: 60 % }\n", "    calibration: { file: light.calibration.yaml }\n", 1)
	require.NotEqual(t, string(testdata.Terrace), named)
	g, _, err := config.Load(file, []byte(named))
	require.NoError(t, err)
	m, _ := g.Mix("light")
	curve, err := sensors.NewCurve(m.Calibration)
	require.NoError(t, err)
	w, _ := curve.Water(1.9)
	assert.InDelta(t, 1.05-0.4*1.9, float64(w), 1e-3)

	first, err := os.ReadFile(written)
	require.NoError(t, err)
	code, _, errs = gateway(context.Background(), args...)
	require.Equal(t, exitDone, code, errs.String())
	kept, err := os.ReadFile(filepath.Join(filepath.Dir(file), "light.calibration.1.yaml"))
	require.NoError(t, err, "the old one is kept")
	assert.Equal(t, first, kept)
}

func num(v float64) string { return strconv.FormatFloat(v, 'f', 4, 64) }

func TestCalibrateRefusals(t *testing.T) {
	file, sock := example(t)
	csv := func(src string) string {
		name := filepath.Join(t.TempDir(), "p.csv")
		require.NoError(t, os.WriteFile(name, []byte(src), 0o600))
		return name
	}
	rising := csv("volts,weight\n1.3,2300\n1.5,2000\n1.7,2100\n2,1500\n")
	for name, k := range map[string]struct {
		args []string
		code int
		want string
	}{
		"an unknown mix":         {[]string{"calibrate", "clay", file}, exitWrongUse, "light"},
		"no mix":                 {[]string{"calibrate"}, exitWrongUse, "arg"},
		"weights without tare":   {[]string{"calibrate", "light", file, "--points", rising}, exitWrongUse, "--tare"},
		"weights that rise":      {[]string{"calibrate", "light", file, "--points", rising, "--tare", "300", "--dry", "450", "--volume", "3"}, exitFailed, "weighing 3: 2100 g is more"},
		"a tare over the gross":  {[]string{"calibrate", "light", file, "--points", rising, "--tare", "3000", "--dry", "450", "--volume", "3"}, exitFailed, "not over the tare"},
		"points that turn":       {[]string{"calibrate", "light", file, "--points", csv("2.5,0.05\n2.2,0.4\n1.9,0.2\n1.5,0.6\n")}, exitFailed, "not monotone"},
		"points close together":  {[]string{"calibrate", "light", file, "--points", csv("2.5,0.30\n2.2,0.32\n1.9,0.35\n")}, exitFailed, "span too little"},
		"two at one reading":     {[]string{"calibrate", "light", file, "--points", csv("2.5,0.05\n2,0.2\n2,0.35\n1.5,0.6\n")}, exitFailed, "two points at one reading"},
		"a table and a method":   {[]string{"calibrate", "light", file, "--points", rising, "--method", "weight"}, exitWrongUse, "neither"},
		"an impossible hardware": {[]string{"calibrate", "light", file, "--hardware", "wand"}, exitWrongUse, "--hardware"},
		"a board that is none":   {[]string{"calibrate", "light", file, "--hardware", "board"}, exitWrongUse, "no board"},
		"an anchor without file": {[]string{"calibrate", "anchor", "chilli-middle", file}, exitFailed, "file of their own"},
		"an anchor of no probe":  {[]string{"calibrate", "anchor", "nobody", file}, exitWrongUse, "nobody"},
	} {
		t.Run(name, func(t *testing.T) {
			code, _, errs := gateway(context.Background(), append(k.args, "--socket", sock)...)
			assert.Equal(t, k.code, code, errs.String())
			assert.Contains(t, errs.String(), k.want)
		})
	}
	left, err := filepath.Glob(filepath.Join(filepath.Dir(file), "*calibration*"))
	require.NoError(t, err)
	assert.Empty(t, left, "a refusal writes nothing")
}

// terminal is a person at a pseudo-terminal.
type terminal struct {
	t    *testing.T
	keys *os.File
	seen *output
	done chan int
}

func sit(t *testing.T, ctx context.Context, args ...string) *terminal {
	t.Helper()
	keys, screen, err := pty.Open()
	if err != nil {
		t.Skip("no pseudo-terminal here: ", err)
	}
	p := &terminal{t: t, keys: keys, seen: &output{}, done: make(chan int, 1)}
	go io.Copy(p.seen, keys)
	go func() {
		p.done <- execute(ctx, streams{in: screen, out: screen, err: screen}, args)
		time.Sleep(50 * time.Millisecond) // the screen drains
		screen.Close()
	}()
	t.Cleanup(func() { keys.Close() })
	return p
}

// reads waits until the screen shows something that it did not before.
func (p *terminal) reads(what string) {
	p.t.Helper()
	require.Eventually(p.t, func() bool { return strings.Contains(p.seen.String(), what) }, 10*time.Second, 2*time.Millisecond, "%q in %s", what, p.seen)
}

func (p *terminal) types(s string) {
	p.t.Helper()
	_, err := p.keys.WriteString(s + "\n")
	require.NoError(p.t, err)
}

func (p *terminal) ends() int {
	p.t.Helper()
	select {
	case code := <-p.done:
		return code
	case <-time.After(20 * time.Second):
		require.Fail(p.t, "the session does not end", p.seen.String())
		return -1
	}
}

// TestSessionInterruptedAndResumed drives a session on a pseudo-terminal: wrong
// answers, Ctrl-C after three weighings, a second one beside the first, and the
// end of it the next day.
func TestSessionInterruptedAndResumed(t *testing.T) {
	file, sock := example(t)
	args := []string{"calibrate", "light", file, "--hardware", "bench", "--socket", sock}
	ctx, interrupt := context.WithCancel(context.Background())
	defer interrupt()
	p := sit(t, ctx, args...)
	p.reads("extra-low voltage only")
	p.types("maybe")
	p.reads("expected yes or no")
	p.types("yes")
	p.reads("Method")

	// Two at once are refused, whatever the second one wants.
	for _, other := range [][]string{args, {"flow", "chilli", file, "--socket", sock}, {"hardware", file, "--socket", sock}} {
		code, _, errs := answered(context.Background(), strings.NewReader("yes\n"), other...)
		assert.Equal(t, exitFailed, code)
		assert.Contains(t, errs.String(), "in use")
	}

	p.types("scales")
	p.reads("expected weight, bucket or points")
	p.types("weight")
	for _, q := range []string{"Volume of mix", "Depth of mix", "Empty container", "Dry mix alone"} {
		p.reads(q)
		p.types("") // what the bench suggests
	}
	p.reads("Weight now")
	p.types("a lot")
	p.reads("expected a number")
	for _, n := range []string{"  1: ", "  2: ", "  3: "} {
		p.types("")
		p.reads(n)
	}
	p.types("2900")
	p.reads("only gets lighter")
	interrupt()
	assert.Equal(t, exitFailed, p.ends())
	p.reads("3 readings are kept")

	p = sit(t, context.Background(), args...)
	p.reads("Is all of this so?")
	p.types("yes")
	p.reads("has 3 readings")
	p.types("")
	for _, n := range []string{"  4: ", "  5: "} {
		p.types("")
		p.reads(n)
	}
	p.types("undo")
	p.types("later")
	assert.Equal(t, exitDone, p.ends(), "later is no failure")

	answers := "yes\nyes\n" + strings.Repeat("\n", 20)
	code, out, errs := answered(context.Background(), strings.NewReader(answers), args...)
	require.Equal(t, exitDone, code, errs.String())
	assert.Contains(t, errs.String(), "has 4 readings")
	assert.Contains(t, out.String(), "12, water 8")
	left, err := filepath.Glob(filepath.Join(filepath.Dir(file), ".*.session"))
	require.NoError(t, err)
	assert.Empty(t, left, "a finished session leaves nothing behind")
	_, err = os.Stat(filepath.Join(filepath.Dir(file), "light.calibration.yaml"))
	assert.NoError(t, err)
}

// TestSessionOfSeveralProbes reads three probes in one container by every method,
// is interrupted and resumed, and writes one shape with an offset for each. The
// bench's probes differ by hidden offsets, which the curve with its offsets must
// undo: all three then agree on the water of the last step.
func TestSessionOfSeveralProbes(t *testing.T) {
	const three = "chilli-middle,aubergine-shallow,aubergine-deep"
	for _, method := range []string{"weight", "bucket", "points"} {
		t.Run(method, func(t *testing.T) {
			file, sock := example(t)
			args := []string{"calibrate", "light", file, "--hardware", "bench", "--socket", sock}
			begin := append(args, "--method", method, "--probe", three)
			asked := map[string]int{"weight": 4, "bucket": 2, "points": 0}[method]
			code, _, errs := answered(context.Background(), strings.NewReader("yes\n"+strings.Repeat("\n", asked+2)+"undo\n\n"), begin...)
			require.Equal(t, exitFailed, code, "the input ended")
			assert.Contains(t, errs.String(), "2 readings are kept")
			code, _, errs = answered(context.Background(), strings.NewReader("yes\nyes\n"), append(args, "--probe", "chilli-middle")...)
			assert.Equal(t, exitWrongUse, code)
			assert.Contains(t, errs.String(), "the kept session reads chilli-middle, aubergine-shallow, aubergine-deep")
			code, out, errs := answered(context.Background(), strings.NewReader("yes\nyes\n"+strings.Repeat("\n", 20)), args...)
			require.Equal(t, exitDone, code, errs.String())
			assert.Contains(t, errs.String(), "has 2 readings")
			for _, id := range strings.Split(three, ",") {
				assert.Contains(t, out.String(), "probe "+id)
			}
			cal := filepath.Join(filepath.Dir(file), "light.calibration.yaml")
			src, err := os.ReadFile(cal)
			require.NoError(t, err)
			c, err := config.ReadCalibration(cal, src)
			require.NoError(t, err)
			require.Len(t, c.ProbeOffsets, 3)
			shape, err := sensors.NewCurve(c)
			require.NoError(t, err)
			last := regexp.MustCompile(`chilli-middle ([0-9.]+) V, aubergine-shallow ([0-9.]+) V, aubergine-deep ([0-9.]+) V, water ([0-9.]+) %`).FindAllStringSubmatch(errs.String(), -1)
			require.NotEmpty(t, last)
			end := last[len(last)-1]
			truth, err := strconv.ParseFloat(end[4], 64)
			require.NoError(t, err)
			var raw []float64
			for i, id := range strings.Split(three, ",") {
				v, err := strconv.ParseFloat(end[i+1], 64)
				require.NoError(t, err)
				w, _ := shape.Water(garden.Volts(v))
				raw = append(raw, 100*float64(w))
				assert.InDelta(t, truth, 100*(float64(w)+c.ProbeOffsets[garden.ProbeID(id)]), 2, id)
			}
			assert.Greater(t, slices.Max(raw)-slices.Min(raw), 0.5, "without their offsets they disagree")
		})
	}
	file, sock := example(t)
	for probes, want := range map[string]string{
		"chilli-middle,chilli-middle": "twice", "chilli-middle,nobody": "no probe \"nobody\"",
		"chilli-middle,aubergine-shallow,aubergine-deep,trough-cucumber-shallow,trough-cucumber-deep": "at most 4",
	} {
		code, _, errs := answered(context.Background(), strings.NewReader("yes\n"), "calibrate", "light", file, "--hardware", "bench", "--socket", sock, "--probe", probes)
		assert.Equal(t, exitWrongUse, code)
		assert.Contains(t, errs.String(), want)
	}
}

func TestSessionMethods(t *testing.T) {
	for _, method := range []string{"bucket", "points"} {
		t.Run(method, func(t *testing.T) {
			file, sock := example(t)
			code, out, errs := answered(context.Background(), strings.NewReader("yes\n"+strings.Repeat("\n", 25)),
				"calibrate", "light", file, "--hardware", "bench", "--method", method, "--socket", sock)
			require.Equal(t, exitDone, code, errs.String())
			assert.Contains(t, out.String(), "curve")
		})
	}
}

func TestSessionNotBegun(t *testing.T) {
	file, sock := example(t)
	for name, k := range map[string]struct{ in, want string }{
		"declined":        {"no\n", "nothing was opened"},
		"the input ended": {"", "the input ended"},
	} {
		t.Run(name, func(t *testing.T) {
			for _, args := range [][]string{{"calibrate", "light", file}, {"flow", "chilli", file}} {
				code, _, errs := answered(context.Background(), strings.NewReader(k.in), append(args, "--hardware", "bench", "--socket", sock)...)
				assert.Equal(t, exitFailed, code)
				assert.Contains(t, errs.String(), k.want)
			}
		})
	}
	t.Run("nobody answers", func(t *testing.T) {
		silent, w := io.Pipe()
		defer w.Close()
		code, _, errs := answered(context.Background(), silent, "calibrate", "light", file, "--patience", "30ms", "--socket", sock)
		assert.Equal(t, exitFailed, code)
		assert.Contains(t, errs.String(), "nobody answered for 30ms")
	})
}

// TestAnchor corrects a bench probe that is off by a hidden offset, and takes it
// back.
func TestAnchor(t *testing.T) {
	file, sock := example(t)
	code, _, errs := answered(context.Background(), strings.NewReader("yes\n"+strings.Repeat("\n", 25)), "calibrate", "light", file, "--hardware", "bench", "--seed", "3", "--socket", sock)
	require.Equal(t, exitDone, code, errs.String())
	named := strings.Replace(string(testdata.Terrace), "    calibration:\n      method: two-point\n      points:\n        - { volts: 2.55 V, water: 10 % }\n        - { volts: 1.35 V, water: 60 % }\n", "    calibration: { file: light.calibration.yaml }\n", 1)
	require.NoError(t, os.WriteFile(file, []byte(named), 0o600))
	cal := filepath.Join(filepath.Dir(file), "light.calibration.yaml")
	offset := func() float64 {
		src, err := os.ReadFile(cal)
		require.NoError(t, err)
		c, err := config.ReadCalibration(cal, src)
		require.NoError(t, err)
		return c.ProbeOffsets["chilli-middle"]
	}
	path := filepath.Join(t.TempDir(), "j.db")
	args := []string{"calibrate", "anchor", "chilli-middle", file, "--hardware", "bench", "--seed", "3", "--socket", sock, "--journal", path}
	code, out, errs := answered(context.Background(), strings.NewReader("yes\nyes\n"), args...)
	require.Equal(t, exitDone, code, errs.String())
	require.Contains(t, out.String(), "anchored")
	assert.NotZero(t, offset())
	code, _, errs = answered(context.Background(), strings.NewReader(""), append(args, "--undo")...)
	require.Equal(t, exitDone, code, errs.String())
	assert.Zero(t, offset())
	code, _, errs = answered(context.Background(), strings.NewReader(""), append(args, "--undo")...)
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, errs.String(), "no correction")

	// The journal tells of both, and so do report and export.
	j, err := journal.OpenReader(path)
	require.NoError(t, err)
	defer j.Close()
	notes, err := j.Notes(time.Time{}.Add(time.Hour))
	require.NoError(t, err)
	require.Len(t, notes, 2)
	for i, want := range []string{"anchored", "taken back"} {
		assert.Equal(t, garden.ZoneID("chilli"), notes[i].Zone)
		assert.Contains(t, notes[i].Text, "light.calibration.yaml: probe chilli-middle "+want)
	}
	assert.NotZero(t, notes[0].Value.Value)
	assert.Zero(t, notes[1].Value.Value)
	assert.Contains(t, notes[0].Text, "where the drained pot holds")
	now := time.Now()
	u, err := understand([]string{file})
	require.NoError(t, err)
	from := time.Date(now.Year(), now.Month(), now.Day()-1, 0, 0, 0, 0, u.garden.Site.Zone)
	book, err := report.Read(j, u.garden, u.plan, from, from.AddDate(0, 0, 4))
	require.NoError(t, err)
	var page_, table strings.Builder
	require.NoError(t, page.WriteReport(context.Background(), &page_, book, "test", units.Reads{}))
	assert.Contains(t, page_.String(), "probe chilli-middle anchored")
	assert.Contains(t, page_.String(), "probe chilli-middle taken back")
	require.NoError(t, report.WriteCSV(&table, book.Rows(time.Hour)))
	assert.Contains(t, table.String(), "probe chilli-middle anchored")

	// One that reads right is noted as compared, once: among the bench's chances there
	// are some whose probe is as good as its curve.
	forget := func() {
		src, err := os.ReadFile(cal)
		require.NoError(t, err)
		c, err := config.ReadCalibration(cal, src)
		require.NoError(t, err)
		c.ProbeOffsets = nil
		_, err = writeCurve(cal, "", c)
		require.NoError(t, err)
	}
	right := 0
	for seed := 1; seed <= 60 && right == 0; seed++ {
		forget()
		with := slices.Clone(args)
		with[slices.Index(with, "--seed")+1] = strconv.Itoa(seed)
		code, out, errs = answered(context.Background(), strings.NewReader("yes\nno\n"), with...)
		if !strings.Contains(out.String(), "nothing to correct") {
			continue
		}
		right++
		require.Equal(t, exitDone, code, "%s %s", out, errs)
		for range 2 {
			src, err := os.ReadFile(cal)
			require.NoError(t, err)
			assert.Equal(t, 1, strings.Count(string(src), "anchored: probe chilli-middle"))
			c, err := config.ReadCalibration(cal, src)
			require.NoError(t, err)
			assert.Contains(t, c.ProbeOffsets, garden.ProbeID("chilli-middle"))
			code, _, errs = answered(context.Background(), strings.NewReader("yes\n"), with...)
			require.Equal(t, exitDone, code, errs)
		}
	}
	assert.Equal(t, 1, right)

	// A running gateway would not hear of it.
	lock, err := socket.Listen(sock)
	require.NoError(t, err)
	defer lock.Close()
	code, _, errs = answered(context.Background(), strings.NewReader(""), append(args, "--undo")...)
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, errs.String(), "in use")
}

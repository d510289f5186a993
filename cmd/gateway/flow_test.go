package main

import (
	"context"
	"io"
	"os"
	"strings"
	"testing"
	"time"

	"fabricpot/control/garden"
	"fabricpot/testdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestFlowOnTheBench measures a line, writes what it found and leaves the rest of
// the garden file as it was.
func TestFlowOnTheBench(t *testing.T) {
	file, socket := example(t)
	in := "yes\nyes\n" + strings.Repeat("\n", 9) + "450\n"
	code, out, errs := answered(context.Background(), strings.NewReader(in), "flow", "strawberries", file, "--minutes", "5", "--exponent", "0.5", "--write", "--socket", socket)
	require.Equal(t, exitDone, code, errs.String())
	for _, want := range []string{"line strawberries gives", "lowest quarter", "Christiansen", "clean or replace: emitter 1 of zone strawberry-west", "pulses per litre", "110 %"} {
		assert.Contains(t, out.String(), want)
	}
	assert.Contains(t, errs.String(), "closed and confirmed after 5m0s (complete)")
	src, err := os.ReadFile(file)
	require.NoError(t, err)
	u, err := understand([]string{file})
	require.NoError(t, err)
	l, _ := u.garden.Line("strawberries")
	assert.NotEqual(t, 1.0, l.Outlets[0].FlowLPH)
	assert.InDelta(t, 9, l.FlowLPH(), 1)
	assert.Equal(t, 4, l.Outlets[0].Emitters)
	example_, err := os.ReadFile("../../testdata/terrace.yaml")
	require.NoError(t, err)
	before, after := strings.Split(string(example_), "\n"), strings.Split(string(src), "\n")
	require.Len(t, after, len(before))
	changed := 0
	for i := range before {
		if before[i] != after[i] {
			changed++
		}
	}
	assert.Equal(t, 3, changed, "one line of text for each pot, and the uniformity")
	assert.NotEqual(t, 0.88, l.DU)
	assert.InDelta(t, 0.85, l.DU, 0.12)
	assert.Contains(t, errs.String(), "no meter")

}

// TestFlowFigures: a catch worked out by hand. Eight cups in 6 min (0.1 h), mL:
// 200 200 200 200 200 200 200 100, label 2 L/h. Flows are 2 L/h and one of 1;
// together 15. Mean 187.5; the lowest quarter is two cups, 150: DU 80 %. The
// deviations are 7 × 12.5 + 87.5 = 175 over 8 × 187.5: CU 88.3 %.
func TestFlowFigures(t *testing.T) {
	u, err := understand(nil)
	require.NoError(t, err)
	line := &garden.Line{ID: "x", Outlets: []garden.Outlet{{Zone: "chilli", Emitters: 8, FlowLPH: 2}}}
	cups := cupsOf(line)
	for i := range cups {
		cups[i].caught = 200
	}
	cups[7].caught = 100
	out := &output{}
	du, err := flowFlags{}.tell(streams{out: out, err: out}, &stand{u: u}, line, cups, garden.Delivery{Open: 6 * time.Minute})
	require.NoError(t, err)
	assert.InDelta(t, 0.80, du.Value, 1e-12)
	for _, want := range []string{"gives 15.00 L/h where the label says 16.00: 94 %", "lowest quarter: 80 %", "uniformity: 88 %", "emitter 8 of zone chilli gives 53 %"} {
		assert.Contains(t, out.String(), want)
	}
}

// TestLineClosesWhateverHappens: an interrupt in the middle, a panic of the
// caller's context, and a line that is not there.
func TestLineClosesWhateverHappens(t *testing.T) {
	file, socket := example(t)
	u, err := understand([]string{file})
	require.NoError(t, err)
	st, err := openStand(streams{err: &output{}}, u, standFlags{socket: socket, seed: 1, startCM: 18})
	require.NoError(t, err)
	pin := st.bench.Wires.Pin("chilli")

	ctx, cancel := context.WithCancel(context.Background())
	seen := 0
	real := st.sleep
	st.sleep = func(d time.Duration) {
		real(d)
		if pin.Flowing() {
			if seen++; seen == 30 {
				cancel()
			}
		}
	}
	_, err = st.openFor(ctx, "chilli", 10*time.Minute)
	require.ErrorIs(t, err, context.Canceled)
	assert.GreaterOrEqual(t, seen, 30, "it was open")
	assert.False(t, pin.Flowing())
	assert.False(t, pin.Energised())

	st.sleep = real
	real(10 * time.Minute) // its rest
	st.sleep = func(d time.Duration) {
		real(d)
		if pin.Flowing() {
			panic("a mistake of ours")
		}
	}
	_, err = st.openFor(context.Background(), "chilli", time.Minute)
	require.ErrorContains(t, err, "a mistake of ours")
	assert.False(t, pin.Flowing())

	st.sleep = real
	real(10 * time.Minute)
	_, err = st.openFor(context.Background(), "nothere", time.Minute)
	require.ErrorContains(t, err, "no line")
	given, err := st.openFor(context.Background(), "chilli", time.Minute)
	require.NoError(t, err)
	assert.Equal(t, garden.Complete, given.End)
	assert.Equal(t, garden.Commission, given.Kind)
	assert.InDelta(t, 60, given.Open.Seconds(), 1.1)
	_, err = st.openFor(context.Background(), "chilli", time.Minute)
	require.ErrorContains(t, err, "not rested", "the guard's rules hold here too")
	require.NoError(t, st.Close())
}

// TestNobodyAnswersAfterTheLineClosed: the first question about the catch is
// asked only when the line is closed; silence then ends the session.
func TestNobodyAnswersAfterTheLineClosed(t *testing.T) {
	file, socket := example(t)
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	p := sit(t, ctx, "flow", "chilli", file, "--minutes", "1", "--patience", "400ms", "--socket", socket)
	p.reads("Is all of this so?")
	p.types("yes")
	p.reads("Is every cup in place?")
	p.types("yes")
	p.reads("Emitter 1 of zone chilli caught")
	closed, asked := strings.Index(p.seen.String(), "closed and confirmed"), strings.Index(p.seen.String(), "Emitter 1")
	assert.True(t, closed >= 0 && closed < asked, p.seen.String())
	assert.Equal(t, exitFailed, p.ends())
	p.reads("nobody answered")
}

// TestSwappedProbesAreFound confuses two plugs on the bench and waters one line.
func TestSwappedProbesAreFound(t *testing.T) {
	for _, swapped := range []bool{false, true} {
		file, socket := example(t)
		u, err := understand([]string{file})
		require.NoError(t, err)
		st, err := openStand(streams{err: &output{}}, u, standFlags{socket: socket, seed: 2, startCM: 60})
		require.NoError(t, err)
		if swapped {
			require.True(t, st.bench.Wires.Swap("strawberry-east-middle", "chilli-middle"))
		}
		out := &output{}
		f := flowFlags{minutes: 20, settle: 5 * time.Hour}
		line, _ := u.garden.Line("strawberries")
		err = f.probeTest(context.Background(), streams{out: out, err: &output{}}, st, line)
		if swapped {
			require.ErrorContains(t, err, "swapped", out.String())
			assert.Contains(t, out.String(), "strawberry-east-middle did not answer to their line while chilli-middle")
		} else {
			require.NoError(t, err, out.String())
		}
		require.NoError(t, st.Close())
	}
}

// TestFlowWritesUniformityAndMeter puts what was found where the file has it, in
// both ways of writing a meter, and leaves the rest as it was.
func TestFlowWritesUniformityAndMeter(t *testing.T) {
	for name, meter := range map[string]string{"a plain meter": "meter: 450 pulses/L   # by the label", "a wired meter": "meter: { constant: 450 pulses/L, pin: 25 }"} {
		t.Run(name, func(t *testing.T) {
			file, _ := example(t)
			src := strings.Replace(string(testdata.Terrace), "  pressure: 120 kPa\n", "  pressure: 120 kPa\n  "+meter+"\n", 1)
			require.NoError(t, os.WriteFile(file, []byte(src), 0o600))
			u, err := understand([]string{file})
			require.NoError(t, err)
			line, _ := u.garden.Line("strawberries")
			cups := cupsOf(line)
			for i := range cups {
				cups[i].caught = 100
			}
			out := &output{}
			m := found{du: garden.Known(0.914), pulsesPerL: garden.Known(436.24)}
			require.NoError(t, writeFlows(streams{out: out, err: out}, file, line, cups, 6*time.Minute, m))
			got, err := os.ReadFile(file)
			require.NoError(t, err)
			want := strings.NewReplacer("450 pulses/L", "436.2 pulses/L", "uniformity: 88 %", "uniformity: 91 %").Replace(src)
			assert.Equal(t, want, string(got), "4 x 1 L/h was measured as what it was")
			m = found{du: garden.Known(0.1)}
			require.NoError(t, writeFlows(streams{out: out, err: out}, file, line, cups, 6*time.Minute, m))
			assert.Contains(t, out.String(), "clean the emitters")
		})
	}
}

// TestFewPulsesTellNoConstant: a meter's figure from under 50 pulses is shown and
// not kept. 1 L caught and 450 pulses counted are 450 pulses per litre.
func TestFewPulsesTellNoConstant(t *testing.T) {
	u, err := understand(nil)
	require.NoError(t, err)
	out := &output{}
	s := streams{out: out, err: out}
	ask := newAsker(context.Background(), streams{in: strings.NewReader(""), err: out}, time.Second)
	per, err := flowFlags{}.meter(context.Background(), s, ask, &stand{u: u}, []cup{{caught: 1000}}, 450, true)
	require.NoError(t, err)
	assert.Equal(t, garden.Known(450), per)
	per, err = flowFlags{}.meter(context.Background(), s, ask, &stand{u: u}, []cup{{caught: 1000}}, 45, true)
	require.NoError(t, err)
	assert.False(t, per.Known)
	assert.Contains(t, out.String(), "measure longer")
}

// TestFlowFarAway: a line over the broker is refused on a board before anything
// is asked, with what to do; the bench plays it; a stand on a board leaves such
// lines to their own limits.
func TestFlowFarAway(t *testing.T) {
	file, socket := example(t)
	src := strings.Replace(string(testdata.Terrace), "    valve: { pin: 23 }\n", "    valve: { remote: east-node }\n", 1)
	require.NotEqual(t, string(testdata.Terrace), src)
	require.NoError(t, os.WriteFile(file, []byte(strings.Replace(src, "  kind: bench ", "  i2c-bus: /dev/i2c-1\n  gpio-chip: none-of-these\n  kind: board ", 1)), 0o600))
	code, _, errs := answered(context.Background(), strings.NewReader(""), "flow", "chilli", file, "--socket", socket)
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, errs.String(), "calc uniformity")
	assert.NotContains(t, errs.String(), "extra-low voltage", "nothing was asked")
	code, out, errs := answered(context.Background(), strings.NewReader("yes\nyes\n"+strings.Repeat("\n", 10)), "flow", "chilli", file, "--hardware", "bench", "--socket", socket)
	require.Equal(t, exitDone, code, errs.String())
	assert.Contains(t, out.String(), "line chilli gives")
	u, err := understand([]string{file})
	require.NoError(t, err)
	near := wiredLines(u.garden)
	assert.Len(t, near.Lines, len(u.garden.Lines)-1)
	_, far := near.Line("chilli")
	assert.False(t, far)
	// Intents of a line here, far away, and of one that is no longer in the file.
	var lines []garden.LineID
	for _, i := range notFar(u.garden, []garden.Intent{{Order: garden.Order{Line: "bean"}}, {Order: garden.Order{Line: "chilli"}}, {Order: garden.Order{Line: "gone"}}}) {
		lines = append(lines, i.Order.Line)
	}
	assert.Equal(t, []garden.LineID{"bean", "gone"}, lines)
}

// watching is a screen that looks at every pin whenever something is shown.
type watching struct {
	t  *testing.T
	st *stand
	*output
}

func (w watching) Write(p []byte) (int, error) {
	for _, l := range w.st.u.garden.Lines {
		if pin := w.st.bench.Wires.Pin(l.ID); pin.Flowing() || pin.Energised() {
			assert.Fail(w.t, "asked while a line is open", "%s: %s", l.ID, p)
		}
	}
	return w.output.Write(p)
}

// TestNothingIsOpenWhileAnswersAreAwaited: whichever question meets with silence,
// all lines were closed before it was asked, so ten minutes of it add nothing.
func TestNothingIsOpenWhileAnswersAreAwaited(t *testing.T) {
	require.Equal(t, 10*time.Minute, patience)
	for answers := range 4 {
		file, socket := example(t)
		u, err := understand([]string{file})
		require.NoError(t, err)
		st, err := openStand(streams{err: &output{}}, u, standFlags{socket: socket, seed: 1, startCM: 25})
		require.NoError(t, err)
		silent, keys := io.Pipe()
		ctx, stop := context.WithCancel(context.Background())
		screen := watching{t: t, st: st, output: &output{}}
		ask := newAsker(ctx, streams{in: silent, err: screen}, 100*time.Millisecond)
		go func() {
			for i := range answers {
				// The first is yes, the others are what cups caught.
				if _, err := io.WriteString(keys, []string{"yes\n", "400\n", "410\n"}[i]); err != nil {
					return
				}
			}
		}()
		line, _ := u.garden.Line("chilli")
		err = flowFlags{minutes: 20}.measure(ctx, streams{out: &output{}, err: &output{}}, ask, st, line)
		require.ErrorIs(t, err, errNobodyAnswers)
		for _, l := range u.garden.Lines {
			assert.False(t, st.bench.Wires.Pin(l.ID).Energised())
		}
		stop()
		keys.Close()
		require.NoError(t, st.Close())
	}
}

func TestFlowWrongUse(t *testing.T) {
	file, socket := example(t)
	for name, k := range map[string]struct {
		args []string
		want string
	}{
		"an unknown line":         {[]string{"flow", "roses", file}, "chilli"},
		"too long":                {[]string{"flow", "chilli", file, "--minutes", "90"}, "0.5 to 20"},
		"no number":               {[]string{"flow", "chilli", file, "--minutes", "NaN"}, "0.5 to 20"},
		"writing into the binary": {[]string{"flow", "chilli", "--write"}, "name"},
		"probes and writing":      {[]string{"flow", "chilli", file, "--write", "--probes"}, "catches no water"},
		"an impossible exponent":  {[]string{"flow", "chilli", file, "--exponent", "2"}, "0 to 1"},
	} {
		t.Run(name, func(t *testing.T) {
			code, _, errs := gateway(context.Background(), append(k.args, "--socket", socket)...)
			assert.Equal(t, exitWrongUse, code)
			assert.Contains(t, errs.String(), k.want)
		})
	}
}

func TestReplaceScalar(t *testing.T) {
	for name, k := range map[string]struct {
		src       string
		line, col int
		want      string
	}{
		"to the end":       {"a: 4 x 2 L/h\nb: 1\n", 1, 4, "a: NEW\nb: 1\n"},
		"before a comment": {"a: 4 x 2 L/h   # by the label\n", 1, 4, "a: NEW   # by the label\n"},
		"in braces":        {"w: { a: 4 x 2 L/h, b: 1 }\n", 1, 9, "w: { a: NEW, b: 1 }\n"},
		"quoted":           {"a: \"4 x 2 L/h\" # x\n", 1, 4, "a: NEW # x\n"},
		"after umlauts":    {"w: { größe: 2 L/h }\r\n", 1, 13, "w: { größe: NEW }\r\n"},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := replaceScalar([]byte(k.src), k.line, k.col, "NEW")
			require.NoError(t, err)
			assert.Equal(t, k.want, string(got))
		})
	}
	for _, bad := range []string{"{ a: 1 }", "'open", ""} {
		_, err := replaceScalar([]byte(bad), 1, 1, "NEW")
		assert.Error(t, err)
	}
	_, err := replaceScalar([]byte("a: 1"), 7, 1, "NEW")
	assert.Error(t, err)
}

// TestFlowByFewPulsesIsNotWritten: what a meter of few pulses says is shown, and the
// garden file stays as it is.
func TestFlowByFewPulsesIsNotWritten(t *testing.T) {
	for constant, enough := range map[string]bool{"20": false, "450": true} {
		t.Run(constant, func(t *testing.T) {
			file, socket := example(t)
			src := strings.Replace(string(testdata.Terrace), "  pressure: 120 kPa\n", "  pressure: 120 kPa\n  meter: { constant: "+constant+" pulses/L, pin: 25 }\n", 1)
			require.NoError(t, os.WriteFile(file, []byte(src), 0o600))
			code, out, errs := answered(context.Background(), strings.NewReader("yes\n"), "flow", "strawberries", file, "--meter", "--write", "--minutes", "5", "--socket", socket)
			got, err := os.ReadFile(file)
			require.NoError(t, err)
			assert.Contains(t, out.String(), "by the meter")
			if enough {
				assert.Equal(t, exitDone, code, errs.String())
				assert.False(t, src == string(got), "the garden file was not changed")
				return
			}
			assert.Equal(t, exitFailed, code)
			assert.Contains(t, errs.String(), "nothing was written: under 50 pulses")
			assert.True(t, src == string(got), "the garden file was changed")
		})
	}
}

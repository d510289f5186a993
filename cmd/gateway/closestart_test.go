package main

import (
	"context"
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/socket"
	"fabricpot/control/garden"
	"fabricpot/testdata"
	"fabricpot/valves"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpiotest"
)

// twelveOn is the garden of twelve on a board, with something changed in its text.
func twelveOn(t *testing.T, change ...string) string {
	t.Helper()
	text := string(testdata.Garden12)
	for i, change := 0, append([]string{"kind: bench", "kind: board\n  i2c-bus: /dev/i2c-none\n  gpio-chip: none-of-these"}, change...); i < len(change); i += 2 {
		require.Contains(t, text, change[i])
		text = strings.Replace(text, change[i], change[i+1], 1)
	}
	file := filepath.Join(t.TempDir(), "board.yaml")
	require.NoError(t, os.WriteFile(file, []byte(text), 0o600))
	return file
}

// pin is an output that a crashed gateway left on, and remembers what it was told.
type pin struct {
	gpiotest.Pin
	told []gpio.Level
}

func (p *pin) Out(l gpio.Level) error {
	p.told = append(p.told, l)
	return p.Pin.Out(l)
}

// leftOn is an opener of a board whose outputs are all on.
func leftOn(pins map[garden.LineID]*pin) opener {
	return func(g *garden.Garden) (*board, error) {
		b := &board{actuators: map[garden.LineID]valves.Actuator{}}
		for i := range g.Lines {
			l := &g.Lines[i]
			p := &pin{Pin: gpiotest.Pin{N: string(l.ID), L: gpio.High}}
			pins[l.ID] = p
			b.actuators[l.ID] = b.own(valves.NewCoil(p, l.Valve.ActiveLow), time.Second)
		}
		return b, nil
	}
}

// TestStartClosesBeforeWhatMayFail: whatever of a start fails once the garden file is
// read, every line was closed before and is opened by nothing after.
func TestStartClosesBeforeWhatMayFail(t *testing.T) {
	dir := t.TempDir()
	other := filepath.Join(dir, "other.db")
	db, err := sql.Open("sqlite", "file:"+other)
	require.NoError(t, err)
	_, err = db.Exec("CREATE TABLE somebody_elses(a)")
	require.NoError(t, errors.Join(err, db.Close()))
	open := filepath.Join(dir, "password")
	require.NoError(t, os.WriteFile(open, []byte("not a hash\n"), 0o644))

	for name, c := range map[string]struct {
		change []string
		flags  runFlags
		says   string
	}{
		"plan":     {change: []string{"size: 75 L", "size: 75 L\n    refill: 85 %"}, says: "not under the container capacity"},
		"journal":  {flags: runFlags{journal: other}, says: "another program's database"},
		"password": {flags: runFlags{page: pageFlags{listen: "127.0.0.1:0", passwordFile: open}}, says: "password"},
		"page":     {flags: runFlags{page: pageFlags{listen: "0.0.0.0:0"}}, says: "others could reach it"},
		"list":     {flags: runFlags{journal: other}, says: "lines in use"},
	} {
		t.Run(name, func(t *testing.T) {
			state := t.TempDir()
			t.Setenv("STATE_DIRECTORY", state)
			if name == "list" { // a folder stands in its place
				require.NoError(t, os.MkdirAll(filepath.Join(state, "lines-in-use.json", "x"), 0o700))
			}
			f := c.flags
			f.speed, f.socket = 1, filepath.Join(t.TempDir(), "s")
			f.page.none = f.page.listen == ""
			pins := map[garden.LineID]*pin{}
			out, errs := &output{}, &output{}
			err := run(context.Background(), streams{in: strings.NewReader(""), out: out, err: errs}, []string{twelveOn(t, c.change...)}, f, leftOn(pins))
			require.Error(t, err)
			assert.Contains(t, errs.String()+err.Error(), c.says)
			require.Len(t, pins, 12)
			for id, p := range pins {
				assert.NotEmpty(t, p.told, "line %s was left on", id)
				assert.NotContains(t, p.told, gpio.High, "line %s was opened", id)
			}
			told := errs.String()
			assert.Contains(t, told, "start: 12 of 12 lines confirmed closed\n")
			if at := strings.Index(told, c.says); at >= 0 && name != "list" {
				assert.Less(t, strings.Index(told, "start:"), at)
			}
		})
	}
}

// TestASecondGatewayTouchesNoPin: the lock comes before the first output.
func TestASecondGatewayTouchesNoPin(t *testing.T) {
	t.Setenv("STATE_DIRECTORY", t.TempDir())
	sock := filepath.Join(t.TempDir(), "s")
	first, err := socket.Listen(sock)
	require.NoError(t, err)
	defer first.Close()
	require.NoError(t, rememberLines(&garden.Garden{Lines: []garden.Line{{ID: "elsewhere", Valve: garden.Valve{Kind: garden.PinValve, Chip: "c", Pin: 3}}}}))
	out, errs := &output{}, &output{}
	err = run(context.Background(), streams{in: strings.NewReader(""), out: out, err: errs}, []string{twelveOn(t)},
		runFlags{speed: 1, socket: sock, page: pageFlags{none: true}}, func(*garden.Garden) (*board, error) {
			t.Error("it asked for the outputs")
			return nil, errors.New("none")
		})
	assert.ErrorContains(t, err, "another gateway answers")
	in, err := rememberedLines()
	require.NoError(t, err)
	assert.Equal(t, garden.LineID("elsewhere"), in.Lines[0].ID, "the list is the other's")
}

// TestNothingIsPlannedBeforeTheLinesAreClosed reads it off a bench: what is told of
// the plan, and of the journal, comes after the lines.
func TestNothingIsPlannedBeforeTheLinesAreClosed(t *testing.T) {
	file := filepath.Join(t.TempDir(), "bench.yaml")
	text := strings.Replace(string(testdata.Garden12), "size: 75 L", "size: 75 L\n    refill: 85 %", 1)
	require.NoError(t, os.WriteFile(file, []byte(text), 0o600))
	code, _, errs := gateway(context.Background(), "run", "--no-page", "--socket", filepath.Join(t.TempDir(), "s"), file)
	assert.Equal(t, exitFailed, code)
	told := errs.String()
	require.Contains(t, told, "not under the container capacity")
	assert.True(t, strings.HasPrefix(told, "start: 12 of 12 lines confirmed closed\n"), told)
}

// TestCloseAllNeedsNoPlan: a supervisor closes the lines of a garden that can't be
// planned.
func TestCloseAllNeedsNoPlan(t *testing.T) {
	t.Setenv("STATE_DIRECTORY", t.TempDir())
	file := twelveOn(t, "size: 75 L", "size: 75 L\n    refill: 85 %")
	_, err := loadGarden(file)
	require.ErrorContains(t, err, "not under the container capacity")
	gs, note, err := toClose(file)
	require.NoError(t, err)
	assert.Empty(t, note)
	require.Len(t, gs, 1)
	assert.Len(t, gs[0].Lines, 12)
}

// heard notes in which order outputs are told to close.
type heard struct {
	id    garden.LineID
	fails bool
	log   *[]garden.LineID
}

func (a heard) Open(valves.Grant) error { return errors.New("not here") }
func (a heard) Close() error {
	*a.log = append(*a.log, a.id)
	if a.fails {
		return errors.New("no answer")
	}
	return nil
}
func (a heard) Closed() (closed, known bool) { return !a.fails, true }

// TestOneThatFailsHoldsUpNoOther: every line is told to close before any is told
// again, those with a pulse last.
func TestOneThatFailsHoldsUpNoOther(t *testing.T) {
	var log []garden.LineID
	g := &garden.Garden{}
	b := &board{actuators: map[garden.LineID]valves.Actuator{}}
	for _, id := range []garden.LineID{"latch", "broken", "far", "sound"} {
		l := garden.Line{ID: id, Valve: garden.Valve{Kind: garden.PinValve}}
		switch id {
		case "latch":
			l.Valve.Latch = &garden.Latch{ClosePin: 1, Pulse: time.Millisecond}
		case "far":
			l.Valve.Kind = garden.RemoteValve
		}
		g.Lines = append(g.Lines, l)
		if id != "far" {
			b.actuators[id] = heard{id, id == "broken", &log}
		}
	}
	var told strings.Builder
	rep := b.closeLines(g, &told)
	assert.Equal(t, append([]garden.LineID{"broken", "sound", "latch"}, slices.Repeat([]garden.LineID{"broken"}, 4)...), log)
	assert.Equal(t, 3, rep.Lines)
	assert.Equal(t, 2, rep.Closed)
	assert.Equal(t, []garden.LineID{"broken"}, rep.Unconfirmed)
	assert.Equal(t, "line broken: no answer\n", told.String())
	told.Reset()
	tellClosed(&told, rep, len(g.Lines))
	assert.Equal(t, "start: 2 of 3 lines confirmed closed; 1 on a broker close as soon as it reaches them, or by their own limit\n"+
		"not confirmed closed: [broken]; shut their hand valves and look at the wiring\n", told.String())
}

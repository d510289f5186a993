package main

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fabricpot/control/garden"
	"fabricpot/valves"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio/gpiotest"
)

func TestLinesInUse(t *testing.T) {
	bench := filepath.Join("..", "..", "testdata", "terrace.yaml")
	faulty := filepath.Join(t.TempDir(), "faulty.yaml")
	require.NoError(t, os.WriteFile(faulty, []byte("pots:\n"), 0o600))
	line := func(id garden.LineID, pin int) garden.Line {
		return garden.Line{ID: id, Valve: garden.Valve{Kind: garden.PinValve, Pin: pin}, Outlets: []garden.Outlet{{Zone: "z", Emitters: 2, FlowLPH: 2}}}
	}
	board := &garden.Garden{Hardware: garden.Hardware{Kind: garden.Board, GPIOChip: "no such chip"}, Lines: []garden.Line{line("a", 5), line("b", 6)}}

	t.Run("what is remembered comes back, and is forgotten", func(t *testing.T) {
		t.Setenv("STATE_DIRECTORY", t.TempDir())
		in, err := rememberedLines()
		require.NoError(t, err)
		require.Nil(t, in)
		require.NoError(t, rememberLines(board))
		in, err = rememberedLines()
		require.NoError(t, err)
		assert.Equal(t, &inUse{Hardware: board.Hardware, Lines: board.Lines}, in)
		require.NoError(t, forgetLines(board))
		require.NoError(t, forgetAllLines())
		in, err = rememberedLines()
		require.NoError(t, err)
		assert.Nil(t, in)
	})
	t.Run("a faulty garden file does not keep lines open", func(t *testing.T) {
		t.Setenv("STATE_DIRECTORY", t.TempDir())
		_, _, err := toClose(faulty)
		require.ErrorContains(t, err, "faulty.yaml")
		require.NoError(t, rememberLines(board))
		gs, note, err := toClose(faulty)
		require.NoError(t, err)
		require.Len(t, gs, 1)
		assert.Equal(t, board.Lines, gs[0].Lines)
		assert.Contains(t, note, "faulty.yaml")
		// The command goes for the pins, which this machine does not have.
		code, _, errs := gateway(context.Background(), "close-all", "--socket", filepath.Join(t.TempDir(), "s"), faulty)
		assert.Equal(t, exitFailed, code)
		assert.Contains(t, errs.String(), "not confirmed closed: [a b]")
	})
	t.Run("a bench has no line to close, unless a board left some", func(t *testing.T) {
		t.Setenv("STATE_DIRECTORY", t.TempDir())
		code, _, errs := gateway(context.Background(), "close-all", "--socket", filepath.Join(t.TempDir(), "s"), bench)
		assert.Equal(t, exitDone, code, errs.String())
		assert.Contains(t, errs.String(), "no line to close")
		require.NoError(t, rememberLines(board))
		gs, _, err := toClose(bench)
		require.NoError(t, err)
		require.Len(t, gs, 1)
		assert.Equal(t, board.Lines, gs[0].Lines)
	})
	t.Run("what stood elsewhere is closed too, and before the rest", func(t *testing.T) {
		const chip = "no such chip"
		type change func(*garden.Garden)
		line0 := func(f func(*garden.Line)) change { return func(g *garden.Garden) { f(&g.Lines[0]) } }
		injector := func(pin int) change {
			return line0(func(l *garden.Line) { l.Injector = garden.Injector{Switched: true, Pin: pin} })
		}
		latch := func(pin int) change {
			return line0(func(l *garden.Line) { l.Valve.Latch = &garden.Latch{ClosePin: pin, Pulse: 50 * time.Millisecond} })
		}
		pump := func(pin int, on string) change {
			return func(g *garden.Garden) { g.Supply.Pump = garden.Pump{Fitted: true, Chip: on, Pin: pin} }
		}
		named := line0(func(l *garden.Line) { l.ID, l.Outlets = "another name", nil })
		for name, c := range map[string]struct {
			was, now change
			want     []garden.LineID
		}{
			"nothing changed":           {func(*garden.Garden) {}, func(*garden.Garden) {}, nil},
			"the name alone":            {func(*garden.Garden) {}, named, nil},
			"the chip named by default": {line0(func(l *garden.Line) { l.Valve.Chip = chip }), func(*garden.Garden) {}, nil},
			"valve":                     {func(*garden.Garden) {}, line0(func(l *garden.Line) { l.Valve.Pin = 7 }), []garden.LineID{"a-before"}},
			"level":                     {func(*garden.Garden) {}, line0(func(l *garden.Line) { l.Valve.ActiveLow = true }), []garden.LineID{"a-before"}},
			"injector moved":            {injector(20), injector(21), []garden.LineID{"a-before"}},
			"injector taken out":        {injector(20), func(*garden.Garden) {}, []garden.LineID{"a-before"}},
			"injector as it was":        {injector(20), injector(20), nil},
			"latch moved":               {latch(22), latch(23), []garden.LineID{"a-before"}},
			"latch became a coil":       {latch(22), func(*garden.Garden) {}, []garden.LineID{"a-before"}},
			"latch as it was":           {latch(22), latch(22), nil},
			"pump moved":                {pump(24, ""), pump(25, ""), []garden.LineID{"pump-before"}},
			"pump taken out":            {pump(24, ""), func(*garden.Garden) {}, []garden.LineID{"pump-before"}},
			"pump, its chip named":      {pump(24, ""), pump(24, chip), nil},
		} {
			t.Run(name, func(t *testing.T) {
				of := func(f change) *garden.Garden {
					g := &garden.Garden{Hardware: board.Hardware, Lines: []garden.Line{line("a", 5), line("b", 6)}}
					f(g)
					return g
				}
				was, now := of(c.was), of(c.now)
				left := &inUse{Hardware: was.Hardware, Lines: was.Lines, Pump: was.Supply.Pump}
				got := leftOver(now, left)
				var ids []garden.LineID
				for i := range got.Lines {
					ids = append(ids, got.Lines[i].ID)
				}
				assert.Equal(t, c.want, ids)
				// The kernel gives a line away once: what is opened together shares none.
				for _, g := range []*garden.Garden{got, now} {
					seen := map[int]bool{}
					for _, pin := range pinsOf(g) {
						assert.False(t, seen[pin], "pin %d twice", pin)
						seen[pin] = true
					}
				}
			})
		}
	})
	t.Run("the garden file's lines come last", func(t *testing.T) {
		t.Setenv("STATE_DIRECTORY", t.TempDir())
		src, err := os.ReadFile(bench)
		require.NoError(t, err)
		file := filepath.Join(t.TempDir(), "board.yaml")
		src = []byte(strings.Replace(string(src), "  kind: bench ", "  i2c-bus: /dev/i2c-1\n  gpio-chip: none-of-these\n  kind: board ", 1))
		require.NoError(t, os.WriteFile(file, src, 0o600))
		g, err := loadGarden(file)
		require.NoError(t, err)
		require.NoError(t, rememberLines(g))
		gs, _, err := toClose(file)
		require.NoError(t, err)
		assert.Equal(t, []*garden.Garden{g}, gs, "once where nothing changed")
		require.NoError(t, rememberLines(board))
		gs, _, err = toClose(file)
		require.NoError(t, err)
		require.Len(t, gs, 2)
		assert.Equal(t, garden.LineID("a-before"), gs[0].Lines[0].ID)
		assert.Equal(t, g, gs[1])
	})
	t.Run("another garden's gateway closes them before it forgets them", func(t *testing.T) {
		t.Setenv("STATE_DIRECTORY", t.TempDir())
		require.NoError(t, rememberLines(board))
		now := &garden.Garden{Hardware: board.Hardware, Lines: []garden.Line{line("a", 5), line("b", 7)}}
		var told strings.Builder
		onList := func() (ids []garden.LineID) {
			in, err := rememberedLines()
			require.NoError(t, err)
			if in == nil {
				return nil
			}
			require.Equal(t, now.Lines, in.Lines[:len(now.Lines)])
			for i := range in.Lines {
				ids = append(ids, in.Lines[i].ID)
			}
			return ids
		}
		for range 2 { // not once only
			told.Reset()
			require.NoError(t, takeUpLines(now, &told, openLines))
			assert.Contains(t, told.String(), "not confirmed closed: [b-before]")
			assert.Equal(t, []garden.LineID{"a", "b", "b-before"}, onList(), "it is gone for again")
		}
		told.Reset()
		require.NoError(t, takeUpLines(now, &told, breaks))
		assert.Contains(t, told.String(), "no board")
		assert.Equal(t, []garden.LineID{"a", "b", "b-before"}, onList(), "where it could not be tried")

		// Moved once more, to another board by default: what was left is where it was.
		now = &garden.Garden{Hardware: garden.Hardware{Kind: garden.Board, GPIOChip: "another"}, Lines: []garden.Line{line("a", 5), line("b-before", 8)}}
		require.NoError(t, takeUpLines(now, &told, openLines))
		in, err := rememberedLines()
		require.NoError(t, err)
		for i, pin := range []int{5, 7, 6} {
			assert.Equal(t, garden.Valve{Kind: garden.PinValve, Chip: "no such chip", Pin: pin}, in.Lines[2+i].Valve)
		}
		assert.Equal(t, []garden.LineID{"a", "b-before", "a-before", "b-before-before", "b-before-before-before"}, onList(), "no name twice: each is closed by its own")

		// A clean stop forgets this garden's, and no other.
		require.NoError(t, forgetLines(now))
		in, err = rememberedLines()
		require.NoError(t, err)
		require.Len(t, in.Lines, 3)
		require.NoError(t, takeUpLines(now, &told, closes))
		assert.Equal(t, []garden.LineID{"a", "b-before"}, onList())
		told.Reset()
		require.NoError(t, takeUpLines(now, &told, openLines))
		assert.Empty(t, told.String())
		require.NoError(t, forgetLines(now))
		assert.Empty(t, onList())
	})
	t.Run("both are gone for, and both are told of", func(t *testing.T) {
		var told strings.Builder
		moved := &garden.Garden{Hardware: board.Hardware, Lines: []garden.Line{line("a-before", 5)}}
		rep, err := closeBoards([]*garden.Garden{moved, board}, &told, openLines)
		require.NoError(t, err)
		assert.Equal(t, 3, rep.Lines)
		assert.Equal(t, []garden.LineID{"a-before", "a", "b"}, rep.Unconfirmed)
	})
	t.Run("a list that can't be read is told and the garden file's lines are closed", func(t *testing.T) {
		dir := t.TempDir()
		t.Setenv("STATE_DIRECTORY", dir)
		require.NoError(t, os.WriteFile(filepath.Join(dir, "lines-in-use.json"), []byte("{"), 0o600))
		_, note, err := toClose(bench)
		require.NoError(t, err)
		assert.Contains(t, note, "lines in use")
	})
}

// closes opens a board all of whose valves close.
func closes(g *garden.Garden) (*board, error) {
	b := &board{actuators: map[garden.LineID]valves.Actuator{}}
	for i := range g.Lines {
		b.actuators[g.Lines[i].ID] = valves.NewCoil(&gpiotest.Pin{}, false)
	}
	return b, nil
}

// breaks opens none.
func breaks(*garden.Garden) (*board, error) { return nil, errors.New("no board") }

// pinsOf are the outputs that closing a garden asks the kernel for.
func pinsOf(g *garden.Garden) (out []int) {
	for i := range g.Lines {
		l := &g.Lines[i]
		out = append(out, l.Valve.Pin)
		if l.Valve.Latch != nil {
			out = append(out, l.Valve.Latch.ClosePin)
		}
		if l.Injector.Switched {
			out = append(out, l.Injector.Pin)
		}
	}
	if g.Supply.Pump.Fitted {
		out = append(out, g.Supply.Pump.Pin)
	}
	return out
}

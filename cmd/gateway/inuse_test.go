package main

import (
	"context"
	"os"
	"path/filepath"
	"testing"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
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
		require.NoError(t, forgetLines())
		require.NoError(t, forgetLines())
		in, err = rememberedLines()
		require.NoError(t, err)
		assert.Nil(t, in)
	})
	t.Run("a faulty garden file does not keep lines open", func(t *testing.T) {
		t.Setenv("STATE_DIRECTORY", t.TempDir())
		_, _, err := toClose(faulty)
		require.ErrorContains(t, err, "faulty.yaml")
		require.NoError(t, rememberLines(board))
		g, note, err := toClose(faulty)
		require.NoError(t, err)
		assert.Equal(t, board.Lines, g.Lines)
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
		g, _, err := toClose(bench)
		require.NoError(t, err)
		assert.Equal(t, board.Lines, g.Lines)
	})
	t.Run("a pin that moved is closed in both places", func(t *testing.T) {
		now := &garden.Garden{Hardware: board.Hardware, Lines: []garden.Line{line("a", 5), line("b", 7)}}
		got := withLeft(now, &inUse{Hardware: board.Hardware, Lines: board.Lines})
		require.Len(t, got.Lines, 3)
		assert.Equal(t, garden.LineID("b-before"), got.Lines[2].ID)
		assert.Equal(t, 6, got.Lines[2].Valve.Pin)
		assert.Len(t, now.Lines, 2)
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

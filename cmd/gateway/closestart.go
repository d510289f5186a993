package main

import (
	"fmt"
	"io"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
)

// closeAtStart closes a board's lines and confirms it. It needs the garden file and
// the outputs alone, so that it comes before all that takes time or may fail: plan,
// journal, broker and page. The caller holds the board's lock.
func closeAtStart(g *garden.Garden, tell io.Writer, open opener) (*board, error) {
	left := closeLeft(g, tell, open)
	hw, err := open(g)
	if err != nil {
		return nil, err
	}
	tellClosed(tell, hw.closeLines(g, tell), len(g.Lines))
	// On the card before anything can be opened, and not before anything is closed.
	if err := rememberLines(g, left...); err != nil {
		fmt.Fprintln(tell, err) // the plants need water all the same
	}
	return hw, nil
}

// tellClosed says what closing at the start came to. Of so many lines, those that
// are not in the report hang on a broker.
func tellClosed(tell io.Writer, rep runner.CloseReport, lines int) {
	fmt.Fprintf(tell, "start: %d of %d lines confirmed closed", rep.Closed, rep.Lines)
	if far := lines - rep.Lines; far > 0 {
		fmt.Fprintf(tell, "; %d on a broker close as soon as it reaches them, or by their own limit", far)
	}
	fmt.Fprintln(tell)
	if len(rep.Unconfirmed) > 0 {
		fmt.Fprintf(tell, "not confirmed closed: %v; shut their hand valves and look at the wiring\n", rep.Unconfirmed)
	}
}

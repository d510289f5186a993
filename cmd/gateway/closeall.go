package main

import (
	"errors"
	"fmt"
	"io"

	"fabricpot/cmd/gateway/internal/page"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"

	"github.com/spf13/cobra"
)

func newCloseAll(s streams, open opener) *cobra.Command {
	var socket string
	cmd := &cobra.Command{
		Use:   "close-all [FILE]",
		Short: "Close every line now",
		Long: `close-all closes every line and waits until that is confirmed.

Where a gateway is running it does so through it, and automatic control is off
afterwards: what you closed stays closed until 'gateway automatic on', but for
the small daily survival dose. Where none is running and FILE describes real
hardware, the lines are closed directly; a service manager calls it that way
after every exit.`,
		Args: usage(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			var rep runner.CloseReport
			err := page.NewClient(socket).Do(cmd.Context(), "POST", "/close-all", nil, &rep)
			switch {
			case err == nil:
				fmt.Fprintln(s.err, "through the running gateway; automatic control is off until 'gateway automatic on'")
				return reportClosed(s, rep)
			case !errors.Is(err, page.ErrNobody):
				return err
			case len(args) == 0:
				return fmt.Errorf("%w: a bench's lines end with it; name the garden file to close a board's lines directly", err)
			}
			gardens, note, err := toClose(args[0])
			if note != "" {
				fmt.Fprintln(s.err, note)
			}
			if err != nil {
				return err
			}
			if len(gardens) == 0 {
				fmt.Fprintf(s.err, "no gateway is running, and %s is a bench: there is no line to close\n", args[0])
				return nil
			}
			fmt.Fprintln(s.err, "no gateway is running: closing the board's lines directly")
			rep, err = closeBoards(gardens, s.err, open)
			if err := errors.Join(err, reportClosed(s, rep)); err != nil {
				return err
			}
			return forgetAllLines()
		},
	}
	socketFlag(cmd, &socket)
	return cmd
}

func newAutomatic(s streams) *cobra.Command {
	var socket string
	cmd := &cobra.Command{
		Use:       "automatic on|off",
		Short:     "Turn automatic control on or off",
		Long:      "automatic turns automatic control of a running gateway on or off. While it is off each zone\nwith a line still gets its small daily survival dose, and you can water by hand.",
		Args:      usage(cobra.MatchAll(cobra.ExactArgs(1), cobra.OnlyValidArgs)),
		ValidArgs: []string{"on", "off"},
		RunE: func(cmd *cobra.Command, args []string) error {
			err := page.NewClient(socket).Do(cmd.Context(), "POST", "/automatic", map[string]bool{"on": args[0] == "on"}, nil)
			if err != nil {
				return err
			}
			fmt.Fprintln(s.out, "automatic control is", args[0])
			return nil
		},
	}
	socketFlag(cmd, &socket)
	return cmd
}

func socketFlag(cmd *cobra.Command, socket *string) {
	cmd.Flags().StringVar(socket, "socket", defaultSocket(), "control `socket` of the gateway")
}

// reportClosed says what closing came to; lines that did not confirm are a
// failure.
func reportClosed(s streams, rep runner.CloseReport) error {
	fmt.Fprintf(s.out, "%d of %d lines confirmed closed\n", rep.Closed, rep.Lines)
	if len(rep.Unconfirmed) > 0 {
		return fmt.Errorf("not confirmed closed: %v; shut their hand valves and look at the wiring", rep.Unconfirmed)
	}
	return nil
}

// opener is openLines, or what stands for it where there is no board.
type opener func(*garden.Garden) (*board, error)

// closeBoards closes the lines of one garden after the other, whatever the first
// come to.
func closeBoards(gardens []*garden.Garden, tell io.Writer, open opener) (all runner.CloseReport, err error) {
	for _, g := range gardens {
		for i := range g.Lines {
			if l := &g.Lines[i]; l.Valve.Kind == garden.RemoteValve {
				fmt.Fprintf(tell, "line %s is a remote valve: only a running gateway reaches it; it closes by its own limit, or shut its hand valve\n", l.ID)
			}
		}
		rep, bad := closeBoard(g, tell, open)
		err = errors.Join(err, bad)
		all.Lines, all.Closed = all.Lines+rep.Lines, all.Closed+rep.Closed
		all.Unconfirmed = append(all.Unconfirmed, rep.Unconfirmed...)
	}
	return all, err
}

// closeBoard closes a board's lines with nothing else running.
func closeBoard(g *garden.Garden, tell io.Writer, open opener) (runner.CloseReport, error) {
	hw, err := open(g)
	if err != nil {
		return runner.CloseReport{}, err
	}
	defer hw.Close()
	return hw.closeLines(g, tell), nil
}

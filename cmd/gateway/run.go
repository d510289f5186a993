package main

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"os"
	"runtime/debug"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/page"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/cmd/gateway/internal/season"
	"fabricpot/cmd/gateway/internal/socket"
	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control/garden"

	"github.com/spf13/cobra"
)

type runFlags struct {
	speed   float64
	seed    uint64
	date    string
	journal string
	socket  string
	page    pageFlags
	broker  brokerFlags
}

func newRun(s streams, open opener) *cobra.Command {
	var f runFlags
	cmd := &cobra.Command{
		Use:   "run [FILE]",
		Short: "Keep a garden, on a board or on the virtual bench",
		Long: `run keeps the garden of FILE until it is stopped; then it closes every line and
says so. Without FILE the example terrace runs on a virtual bench: nothing is
wired, nothing can get wet, and --speed lets days pass in minutes.

It prints a line per decision, with the reason.`,
		Example: `  gateway run --speed 600
  gateway run my-terrace.yaml`,
		Args: usage(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return run(cmd.Context(), s, args, f, open)
		},
	}
	fl := cmd.Flags()
	fl.Float64Var(&f.speed, "speed", 1, "bench only: how many times faster than real time, 1 to 100000")
	fl.Uint64Var(&f.seed, "seed", 1, "bench only: what chance depends on")
	fl.StringVar(&f.date, "date", "", "bench only: the `DATE` it begins on, as 2026-07-01; none: 1 July of this year")
	fl.StringVar(&f.journal, "journal", "", "journal `FILE`, a new one for a bench; none: the garden file's, or for a bench a new one each time")
	socketFlag(cmd, &f.socket)
	f.page.on(cmd)
	f.broker.on(cmd)
	return cmd
}

// run keeps a garden. Once its file is read every line is closed, before anything
// else that takes time or may fail; so much is done even where the rest can't be.
func run(ctx context.Context, s streams, args []string, f runFlags, open opener) error {
	if !(f.speed >= 1 && f.speed <= 100000) {
		return wrongUse{fmt.Errorf("--speed %v: expected 1 to 100000", f.speed)}
	}
	u, err := readGarden(args)
	if err != nil {
		return err
	}
	bench := u.garden.Hardware.Kind == garden.Bench
	if !bench && f.speed != 1 {
		return wrongUse{errors.New("--speed is for the bench alone: real water takes its time")}
	}
	if f.speed != 1 && f.broker.realTimeOnly(u.garden) {
		return wrongUse{errors.New("--speed is not for a garden that hangs on another broker, on remote devices or on weather by message: they know real time alone; use 'gateway simulate', or --no-broker to have the bench play them")}
	}
	frugal()
	// Whoever holds it holds the board: it comes before the first pin.
	listener, err := socket.Listen(f.socket)
	if err != nil {
		return err
	}
	defer listener.Close()
	var hw *board
	var world *season.World
	if bench {
		world, err = benchWorld(u.garden, f, s.err)
	} else if hw, err = closeAtStart(u.garden, s.err, open); err == nil {
		defer hw.Close()
	}
	if err != nil {
		return err
	}

	if err := u.reckon(); err != nil {
		return err
	}
	u.printWarnings(s.err)
	if f.speed == 1 {
		for _, line := range u.waysAmiss() {
			fmt.Fprintln(s.err, line)
		}
	}
	door, err := f.page.door(s)
	if err != nil {
		return err
	}
	j, err := openJournal(s, u, f.journal, bench)
	keeper := runner.NewKeeper(j)
	if err == nil {
		if err := ours(j, bench); err != nil {
			return errors.Join(err, j.Close())
		}
	}
	if err != nil {
		if bench || !journal.CardFault(err) {
			return err
		}
		// Pots must not die of a broken card.
		if keeper, err = openUnkept(s, err, unkeptFolders(f.socket)); err != nil {
			return err
		}
	} else if !bench {
		forgetUnkept(s, unkeptFolders(f.socket))
	}
	defer keeper.Close()
	if !bench {
		keepBeside(s, keeper, f.socket)
	}

	rl := newReloader(s, args, u)
	rl.speed = f.speed
	var told *messages
	defer func() { told.close() }()
	stopPage := func() {}
	defer func() { stopPage() }()
	serve := func(desk *runner.Desk, link *brokerLink) *http.Server {
		rl.loop, rl.ready = desk, func() bool { return desk.Status() != nil }
		desk.Reads = func() units.Reads { return rl.current().source.Reads }
		told = openMessages(ctx, s, u.garden, f.speed, desk, keeper.Journal)
		rl.tellMessages(told.follow)
		stopPage = servePage(ctx, s, rl, door, desk, link, told, keeper.Journal)
		srv := page.NewServer(told.serve(desk, rl.serve(page.WithWork(page.NewAPI(desk), desk))))
		go func() {
			if err := srv.Serve(listener); err != nil && !errors.Is(err, http.ErrServerClosed) {
				fmt.Fprintln(s.err, "control socket:", err)
			}
		}()
		return srv
	}
	var rep runner.CloseReport
	if bench {
		rep, err = runBench(ctx, s, u, f, world, keeper, rl, serve)
	} else {
		rep, err = runBoard(ctx, s, u, f, hw, keeper, rl, serve)
	}
	if err != nil {
		if rep.Lines > 0 {
			// Now of all times a person should know which hand valve to shut.
			err = errors.Join(err, reportClosed(s, rep))
		}
		return err
	}
	return reportClosed(s, rep)
}

// frugal has what is thrown away collected once it is half of what is kept, where the
// runtime would wait for as much again: a gateway keeps little and makes little anew,
// so that it costs next to no time. GOGC of the environment goes before.
func frugal() {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(50)
	}
}

// runBoard keeps the garden on real hardware.
func runBoard(ctx context.Context, s streams, u *understood, f runFlags, hw *board, keeper *runner.Keeper, rl *reloader, serve func(*runner.Desk, *brokerLink) *http.Server) (runner.CloseReport, error) {
	clock := hw.clock(u.garden.Site.Zone)
	link := f.broker.open(ctx, s, u, keeper, clock.Moment)
	defer link.close()
	l, err := assembleBoard(u, hw, keeper, link.tell(runner.NewPrinter(s.out)), clock, link.far())
	if err != nil {
		return runner.CloseReport{}, err
	}
	inbox := runner.NewInbox()
	desk := runner.NewDesk(l, inbox)
	m := newManager(s.err, u.garden.SampleEvery)
	rl.m = m
	srv := serve(desk, link)
	defer srv.Close()
	defer rl.listen(ctx)()
	link.serve(desk)
	fmt.Fprintf(s.err, "%s: %d lines; Ctrl-C closes every line and ends it\n", u.garden.Site.Name, len(u.garden.Lines))
	defer context.AfterFunc(ctx, m.stopping)()
	stopTidying := startTidying(ctx, keeper.Journal, l.Believing(clock), s.err)
	defer stopTidying()
	rep, err := runner.Drive(ctx, l, inbox, clock, u.garden.SampleEvery, func() { hw.roundDone(m) })
	if err == nil && len(rep.Unconfirmed) == 0 {
		err = forgetLines(u.garden)
	}
	return rep, err
}

package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/cmd/gateway/internal/season"
	"fabricpot/cmd/gateway/internal/socket"
	"fabricpot/control/garden"
	"fabricpot/sensors"
	"fabricpot/sim/bench"
	"fabricpot/sim/terrace"
	"fabricpot/valves"
)

// guardStep is how often the guard is looked after while something waits, as in
// a running gateway.
const guardStep = 50 * time.Millisecond

// stand is a garden's hardware under test, on a board or on the bench, without
// the controller: lines behind their guard, and probes. One goroutine uses it.
type stand struct {
	u       *understood
	bench   *season.Bench // nil on a board
	guard   *valves.Guard
	moment  func() garden.Moment
	sleep   func(time.Duration)
	open    func(garden.Input) (sensors.VoltReader, error)
	readers map[garden.Input]sensors.VoltReader
	order   garden.OrderID
	gauges  standGauges
	closers []func() error
	// remembered tells that the lines stand in the list of lines in use.
	remembered bool
}

// standFlags are the flags of commands that touch hardware.
type standFlags struct {
	hardware, socket, journal string
	seed                      uint64
	patience                  time.Duration
	// startCM and offsetV choose the bench's state: suction at the floor, and
	// how far its probes are off.
	startCM, offsetV float64
}

// hardwareOf settles which hardware is meant: the garden file's, or the bench
// where that is asked for.
func (f standFlags) hardwareOf(u *understood) error {
	switch f.hardware {
	case "":
	case garden.Bench:
		u.garden.Hardware.Kind = garden.Bench
	case garden.Board:
		if u.garden.Hardware.Kind != garden.Board {
			return wrongUse{fmt.Errorf("--hardware board: %s describes no board", u.name)}
		}
	default:
		return wrongUse{fmt.Errorf("--hardware %q: expected bench or board", f.hardware)}
	}
	return nil
}

// openStand opens a garden's hardware and closes every line. No gateway and no
// other session may share it: the control socket is held until Close.
func openStand(s streams, u *understood, f standFlags) (*stand, error) {
	if err := f.hardwareOf(u); err != nil {
		return nil, err
	}
	lock, err := socket.Listen(f.socket)
	if err != nil {
		return nil, fmt.Errorf("the hardware is in use: %w", err)
	}
	st := &stand{u: u, readers: map[garden.Input]sensors.VoltReader{}, closers: []func() error{lock.Close}}
	build := st.onBoard
	if u.garden.Hardware.Kind == garden.Bench {
		build = st.onBench
	}
	if err := build(s, f); err != nil {
		return nil, errors.Join(err, st.Close())
	}
	if bad := st.shut(); len(bad) > 0 {
		err := fmt.Errorf("not confirmed closed: %v; shut their hand valves and look at the wiring", bad)
		return nil, errors.Join(err, st.Close())
	}
	return st, nil
}

func (st *stand) onBench(_ streams, f standFlags) error {
	g := st.u.garden
	start := time.Date(2026, time.July, 1, 5, 0, 0, 0, g.Site.Zone)
	o := terrace.DefaultOptions(f.seed, nil)
	o.StartSuctionCM = f.startCM
	b, err := season.NewBench(g, season.Options{Seed: f.seed, Start: start, Weather: season.Climate(f.seed, start, 60), Terrace: o,
		Bench: bench.Options{OffsetV: f.offsetV}})
	if err != nil {
		return err
	}
	st.bench, st.guard, st.moment = b, b.Guard, b.Moment
	st.sleep = func(d time.Duration) { b.Clock.Sleep(d); b.Wires.Advance() }
	st.open = b.OpenInput()
	st.watchBench()
	return nil
}

func (st *stand) onBoard(s streams, f standFlags) error {
	u := st.u
	hw, err := openLines(u.garden)
	if err != nil {
		return err
	}
	st.closers = append(st.closers, hw.Close)
	// A crash must leave close-all the list of what we drive.
	if err := takeUpLines(u.garden, s.err, openLines); err != nil {
		return err
	}
	st.remembered = true
	j, err := openJournal(s, u, f.journal, false)
	if err != nil {
		return err
	}
	if err := ours(j, false); err != nil {
		return errors.Join(err, j.Close())
	}
	keeper := runner.NewKeeper(j)
	keepBeside(s, keeper, f.socket)
	st.closers = append(st.closers, keeper.Close)
	if st.guard, err = valves.NewGuard(wiredLines(u.garden), hw.actuators, keeper, valves.Options{PeakNeedL: u.plan.PeakNeedsL(), DryFillL: u.plan.DryFillsL()}); err != nil {
		return err
	}
	clock := runner.NewBoardClock(u.garden.Site.Zone)
	st.moment, st.sleep, st.open = clock.Moment, time.Sleep, openInputs(u.garden, hw)
	if err := st.watchBoard(hw, s.err); err != nil {
		return err
	}
	// What earlier runs gave counts against the day's limits here too.
	now := st.moment()
	st.guard.CloseAll(now)
	last, err := keeper.LastOrderID()
	if err != nil {
		return fmt.Errorf("the journal's last order: %w", err)
	}
	unfinished, err := keeper.Unfinished()
	if err != nil {
		return fmt.Errorf("the journal's unfinished intents: %w", err)
	}
	past, err := keeper.Recent(now)
	if err != nil {
		return fmt.Errorf("the journal's deliveries of the last day: %w", err)
	}
	held, sameClock, err := keeper.Limits()
	if err != nil {
		return fmt.Errorf("the journal's limits: %w", err)
	}
	if held != nil {
		if err := st.guard.Recall(now, held, sameClock); err != nil {
			fmt.Fprintln(s.err, err)
		}
	}
	st.order = last
	st.guard.Restore(now, clock.SinceBoot(), notFar(u.garden, unfinished), past)
	return st.guard.Flush()
}

// wiredLines is a garden without the lines whose valves are reached over the
// broker: a stand can neither open them nor hear that they are closed, and each
// closes by its own limit.
func wiredLines(g *garden.Garden) *garden.Garden {
	near := *g
	near.Lines = slices.DeleteFunc(slices.Clone(g.Lines), func(l garden.Line) bool { return l.Valve.Kind == garden.RemoteValve })
	return &near
}

// notFar leaves intents of lines over the broker unfinished: the gateway, which
// hears from their valves, settles them at its next start.
func notFar(g *garden.Garden, unfinished []garden.Intent) []garden.Intent {
	return slices.DeleteFunc(slices.Clone(unfinished), func(i garden.Intent) bool {
		l, ok := g.Line(i.Order.Line)
		return ok && l.Valve.Kind == garden.RemoteValve
	})
}

// Close shuts every line for good and lets go of the hardware.
func (st *stand) Close() error {
	var errs []error
	if st.guard != nil {
		st.guard.Seal(st.moment())
		bad := st.confirm()
		if len(bad) == 0 && st.remembered {
			errs = append(errs, forgetLines(st.u.garden))
		}
		if len(bad) > 0 {
			errs = append(errs, fmt.Errorf("not confirmed closed: %v; shut their hand valves now", bad))
		}
		errs = append(errs, st.guard.Flush())
	}
	for _, c := range slices.Backward(st.closers) {
		errs = append(errs, c())
	}
	st.closers = nil
	return errors.Join(errs...)
}

// shut closes every line and returns those that did not confirm.
func (st *stand) shut() []garden.LineID {
	st.guard.CloseAll(st.moment())
	return st.confirm()
}

// confirm gives closes ten seconds.
func (st *stand) confirm() []garden.LineID {
	bad := st.guard.Unconfirmed()
	for i := 0; len(bad) > 0 && i < 200; i++ {
		st.sleep(guardStep)
		st.guard.Advance(st.moment())
		bad = st.guard.Unconfirmed()
	}
	return bad
}

// wait lets time pass, looking after the guard. On the bench that costs hardly
// any real time.
func (st *stand) wait(ctx context.Context, d time.Duration) ([]garden.Delivery, error) {
	var ended []garden.Delivery
	step := guardStep
	if st.bench != nil {
		step = time.Second
	}
	until := st.moment().Mono + d
	for {
		now := st.moment()
		st.count(now)
		ended = append(ended, st.guard.Advance(now)...)
		left := until - now.Mono
		if at, ok := st.guard.NextDeadline(); ok {
			left = min(left, max(at-now.Mono, time.Millisecond))
		}
		if now.Mono >= until {
			return ended, nil
		}
		if err := ctx.Err(); err != nil {
			return ended, err
		}
		st.sleep(min(step, left))
	}
}

// openFor opens one line for a bounded time through the guard and returns what
// became of it. Whatever happens, the line is closed when it returns.
func (st *stand) openFor(ctx context.Context, line garden.LineID, d time.Duration) (del garden.Delivery, err error) {
	defer func() {
		if r := recover(); r != nil {
			err = errors.Join(fmt.Errorf("%v", r), st.guard.CloseEverything())
		}
		if bad := st.shut(); len(bad) > 0 {
			err = errors.Join(err, fmt.Errorf("not confirmed closed: %v; shut their hand valves now", bad))
		}
	}()
	l, ok := st.u.garden.Line(line)
	if !ok {
		return del, fmt.Errorf("the garden has no line %q", line)
	}
	st.order++
	litres := l.FlowLPH() * d.Hours()
	o := garden.Order{ID: st.order, Line: line, Litres: litres, MaxOn: d + d/4, Kind: garden.Commission, Why: garden.Reason{Code: garden.FlowTest, A: litres}}
	if len(l.Outlets) > 0 {
		o.Zone = l.Outlets[0].Zone
	}
	st.count(st.moment())
	if no, opened := st.guard.Request(st.moment(), valves.Env{}, o); !opened {
		return del, fmt.Errorf("line %s was not opened: %s", line, no.Cause)
	}
	end := st.moment().Mono + d + d/4 + time.Second
	for {
		now := st.moment()
		ended, err := st.wait(ctx, min(time.Second, max(end-now.Mono, time.Millisecond)))
		for _, e := range ended {
			if e.Order == o.ID {
				return e, nil
			}
		}
		if err != nil {
			stopped, _ := st.guard.Stop(st.moment(), line)
			return stopped, err
		}
		if now.Mono >= end {
			return del, fmt.Errorf("line %s did not close in time", line)
		}
	}
}

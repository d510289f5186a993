package runner

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"fabricpot/control/garden"
)

// Clock tells the time of a board.
type Clock interface {
	Moment() garden.Moment
}

const (
	// pulseCheck is how often pulses are looked at that may be due.
	pulseCheck = 50 * time.Millisecond
	// closePatience is how long an exit waits for closes to be confirmed.
	closePatience = 10 * time.Second
	// pulsePatience is how long a goroutine beside the rounds may go without coming
	// round before the watchdog is no longer fed.
	pulsePatience = time.Second
)

// beat is when a goroutine beside the rounds last came round: the one that ends
// pulses, or the one that reads the gauges.
type beat struct{ at atomic.Int64 }

func (b *beat) strike(now garden.Moment) { b.at.Store(int64(now.Mono)) }

func (b *beat) alive(now garden.Moment) bool {
	return now.Mono-time.Duration(b.at.Load()) <= pulsePatience
}

// Drive runs a loop in real time until the context ends, then closes every
// line. It owns the loop; others reach it through inbox. A second goroutine
// ends pulses whatever the loop is doing, a third reads the gauges, which no
// deadline waits for; everything is closed if any of them panics. progress is
// called after each round during which the others came round too, for a watchdog;
// it may be nil.
func Drive(ctx context.Context, l *Loop, in *Inbox, clock Clock, every time.Duration, progress func()) (CloseReport, error) {
	defer in.Close()
	clock = l.Believing(clock)
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)

	// It outlives the rounds: a round that a card or a bus holds up must not
	// keep a line open, least of all while the program is stopping.
	over := make(chan struct{})
	var guard sync.WaitGroup
	var pulses, counts beat
	pulses.strike(clock.Moment())
	counts.strike(clock.Moment())
	guard.Add(1)
	go func() {
		defer guard.Done()
		if err := protected(l, func() { endPulses(ctx, over, l, clock, &pulses) }); err != nil {
			cancel(err)
		}
	}()
	l.beside = true
	read, looked := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(read)
		if err := protected(l, func() { readGauges(over, l, clock, &counts, looked) }); err != nil {
			cancel(err)
		}
	}()
	var begin error
	err := protected(l, func() {
		begin = rounds(ctx, l, in, clock, every, looked, func() {
			if now := clock.Moment(); progress != nil && pulses.alive(now) && counts.alive(now) {
				progress()
			}
		})
	})
	err = errors.Join(err, begin)
	cancel(err)
	if err == nil {
		if cause := context.Cause(ctx); cause != nil && !errors.Is(cause, context.Canceled) {
			err = cause
		}
	}

	var rep CloseReport
	end := protected(l, func() { rep = closeForGood(l, clock) })
	close(over)
	guard.Wait()
	select {
	case <-read:
	case <-time.After(pulsePatience): // one that hangs keeps nobody from going home
	}
	return rep, errors.Join(err, end)
}

// protected runs f and turns a panic into an error, with every coil commanded
// off first.
func protected(l *Loop, f func()) (err error) {
	defer func() {
		if r := recover(); r != nil {
			l.crashed.Store(true)
			err = errors.Join(fmt.Errorf("runner: panic: %v", r), l.p.Guard.CloseEverything())
		}
	}()
	f()
	return nil
}

// endPulses ends what is due until over is closed. As soon as the context ends it
// closes every line and lets none be opened, whatever the round is at.
func endPulses(ctx context.Context, over <-chan struct{}, l *Loop, clock Clock, b *beat) {
	t := time.NewTicker(pulseCheck)
	defer t.Stop()
	stop := ctx.Done()
	for {
		select {
		case <-over:
			return
		case <-stop:
			stop = nil
			l.CloseAtOnce(clock.Moment())
		case <-t.C:
			l.advance(clock.Moment())
			b.strike(clock.Moment())
		}
	}
}

// readGauges tells the guard what meter and float say, until over is closed. It is
// not the goroutine that ends pulses: a pin that does not answer must hold no line
// open.
func readGauges(over <-chan struct{}, l *Loop, clock Clock, b *beat, looked chan<- struct{}) {
	t := time.NewTicker(pulseCheck)
	defer t.Stop()
	l.count(clock.Moment())
	close(looked)
	for {
		select {
		case <-over:
			return
		case <-t.C:
			l.count(clock.Moment())
			b.strike(clock.Moment())
		}
	}
}

func rounds(ctx context.Context, l *Loop, in *Inbox, clock Clock, every time.Duration, looked <-chan struct{}, progress func()) error {
	if err := l.Begin(clock.Moment()); err != nil {
		return err
	}
	// A float that nobody has looked at refuses the first round's water.
	select {
	case <-looked:
	case <-time.After(pulsePatience):
	}
	t := time.NewTicker(every)
	defer t.Stop()
	for {
		l.Tick(clock.Moment())
		progress()
	wait:
		for {
			select {
			case <-ctx.Done():
				return nil
			case j := <-in.Next():
				in.Serve(j, clock.Moment())
			case <-t.C:
				break wait
			}
		}
	}
}

// closeForGood closes every line and waits until that is confirmed or patience
// ends.
func closeForGood(l *Loop, clock Clock) CloseReport {
	start := clock.Moment()
	for {
		now := clock.Moment()
		rep := l.End(now)
		if len(rep.Unconfirmed) == 0 || now.Since(start) >= closePatience {
			l.Remember(now)
			return rep
		}
		time.Sleep(pulseCheck)
	}
}

package season

import (
	"context"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
)

// paceStep is how often the bench catches up with the wall clock.
const paceStep = 20 * time.Millisecond

// Paced runs the bench that many times faster than real time until the context
// ends, then closes every line. It owns the bench; others reach it through the
// inbox. Where the machine can't keep up the bench runs slower: it never skips.
func (b *Bench) Paced(ctx context.Context, in *runner.Inbox, speed float64) (runner.CloseReport, error) {
	defer in.Close()
	if err := b.Begin(); err != nil {
		return b.End(), err
	}
	pace := time.NewTicker(paceStep)
	defer pace.Stop()
	last := time.Now()
	for {
		b.follow()
		select {
		case <-ctx.Done():
			return b.endPaced(), nil
		case j := <-in.Next():
			in.Serve(j, b.Moment())
			b.arm()
		case <-pace.C:
			now := time.Now()
			// A machine that slept must not make the bench race: at most half
			// a second of wall time is caught up at once.
			passed := min(now.Sub(last), 500*time.Millisecond)
			last = now
			b.catchUp(ctx, b.Clock.Now()+time.Duration(float64(passed)*speed), in)
		}
	}
}

// catchUp runs to t in steps of a reading. Whoever asks for something in between,
// above all to close, waits for one of them and not for hours of the bench.
func (b *Bench) catchUp(ctx context.Context, t time.Duration, in *runner.Inbox) {
	step := max(b.Garden.SampleEvery, time.Second)
	for b.Clock.Now() < t && ctx.Err() == nil {
		select {
		case j := <-in.Next():
			in.Serve(j, b.Moment())
			b.arm()
		default:
			b.RunTo(min(t, b.Clock.Now()+step))
			b.follow()
		}
	}
}

// endPaced ends the bench and gives remote valves the ten seconds of real time
// to confirm that a board gives them.
func (b *Bench) endPaced() runner.CloseReport {
	if len(b.remote) == 0 {
		return b.End()
	}
	const step = 50 * time.Millisecond
	rep := b.Loop.End(b.Moment())
	for patience := 0; len(rep.Unconfirmed) > 0 && patience < 200; patience++ {
		time.Sleep(step)
		b.Clock.Sleep(step)
		rep = b.Loop.End(b.Moment())
	}
	b.Wires.Advance()
	return rep
}

package runner

import (
	"context"
	"errors"

	"fabricpot/control/garden"
)

// ErrStopped tells that the loop no longer takes requests.
var ErrStopped = errors.New("the gateway is stopping")

// Inbox brings requests from other goroutines to the one that owns the loop.
type Inbox struct {
	jobs   chan job
	closed chan struct{}
}

type job struct {
	ctx  context.Context
	run  func(now garden.Moment)
	done chan struct{}
}

// NewInbox returns an empty inbox.
func NewInbox() *Inbox {
	return &Inbox{jobs: make(chan job, 16), closed: make(chan struct{})}
}

// Do has the loop's owner run f and waits until it has. The context bounds the
// wait, and a job whose context ended before its turn is not run: nobody is told
// that it failed and then sees it happen. After an error f may be running, so
// what it writes must not be looked at.
func (in *Inbox) Do(ctx context.Context, f func(now garden.Moment)) error {
	return in.do(ctx, ctx, f)
}

// Must is Do for what has to happen even when nobody waits for it any more.
func (in *Inbox) Must(ctx context.Context, f func(now garden.Moment)) error {
	return in.do(ctx, context.WithoutCancel(ctx), f)
}

func (in *Inbox) do(ctx, life context.Context, f func(now garden.Moment)) error {
	j := job{ctx: life, run: f, done: make(chan struct{})}
	select {
	case in.jobs <- j:
	case <-in.closed:
		return ErrStopped
	case <-ctx.Done():
		return ctx.Err()
	}
	select {
	case <-j.done:
		return nil
	case <-in.closed:
		return ErrStopped
	case <-ctx.Done():
		return ctx.Err()
	}
}

// Next is the owner's side: a job to run, to be given to Serve.
func (in *Inbox) Next() <-chan job { return in.jobs }

// Serve runs one job.
func (in *Inbox) Serve(j job, now garden.Moment) {
	defer close(j.done)
	if j.ctx.Err() == nil {
		j.run(now)
	}
}

// Close refuses everything from now on. Only the owner calls it, once.
func (in *Inbox) Close() { close(in.closed) }

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
	run  func(now garden.Moment)
	done chan struct{}
}

// NewInbox returns an empty inbox.
func NewInbox() *Inbox {
	return &Inbox{jobs: make(chan job, 16), closed: make(chan struct{})}
}

// Do has the loop's owner run f and waits until it has. The context bounds both
// waiting for a place and waiting for the end; f may still run after it ended.
func (in *Inbox) Do(ctx context.Context, f func(now garden.Moment)) error {
	j := job{run: f, done: make(chan struct{})}
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
	j.run(now)
}

// Close refuses everything from now on. Only the owner calls it, once.
func (in *Inbox) Close() { close(in.closed) }

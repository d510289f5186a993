package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"reflect"
	"slices"
	"strings"
	"sync"
	"time"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"
	"fabricpot/valves"
)

// A running gateway reads its garden file again on SIGHUP and where 'gateway
// reload' asks it to. All of it is taken over or nothing: not where the file has
// a fault, and not where any change takes a restart.

const (
	// reloadLook is how often a waiting reload looks whether every line is closed.
	reloadLook = 200 * time.Millisecond
	// hangupPatience is how long a reload by signal waits, mostReloadWait how
	// long any may: pulses are bounded by max-on, so a moment comes.
	hangupPatience = 2 * time.Hour
	mostReloadWait = 12 * time.Hour
)

// reloadTarget is the running loop.
type reloadTarget interface {
	Reload(ctx context.Context, r runner.Reloaded) error
	// LetGo tells that a reload which had to wait is given up.
	LetGo(ctx context.Context) error
}

// reloader keeps a running gateway's garden file.
type reloader struct {
	file  string // empty: the example that the program carries
	speed float64
	err   io.Writer
	m     *manager
	loop  reloadTarget
	// played is the garden as the hardware at hand plays it; nil as it is.
	played func(*garden.Garden) *garden.Garden
	// ready tells that the gateway has started.
	ready func() bool

	asking sync.Mutex // held for a whole Read

	mu     sync.Mutex
	now    *understood
	last   reloadReport
	cancel context.CancelFunc // of the one that waits; nil where none does
	ended  chan struct{}
	renew  func(*garden.Garden) error // the page's
	calls  func(*garden.Garden)       // has messages follow
}

func newReloader(s streams, args []string, u *understood) *reloader {
	r := &reloader{err: s.err, now: u}
	if len(args) > 0 {
		r.file = args[0]
	}
	return r
}

// current is the garden as it is kept now.
func (r *reloader) current() *understood {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.now
}

// tellPage has the page follow.
func (r *reloader) tellPage(renew func(*garden.Garden) error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.renew = renew
}

// tellMessages has the ways by which alarms reach people follow.
func (r *reloader) tellMessages(follow func(*garden.Garden)) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.calls = follow
}

// report is where the last one stands.
func (r *reloader) report() reloadReport {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.last
}

// Stop gives up one that waits, and waits until it has. The one that asked last
// counts.
func (r *reloader) Stop() {
	r.mu.Lock()
	cancel, ended := r.cancel, r.ended
	r.mu.Unlock()
	if cancel != nil {
		cancel()
		<-ended
	}
}

// Withdraw gives up what was asked for with that mark, one that is being read as well
// as one that waits, and returns what came of the last. What somebody else asked for
// since stands.
func (r *reloader) Withdraw(ask string) reloadReport {
	r.asking.Lock()
	defer r.asking.Unlock()
	if r.report().Ask == ask {
		r.Stop()
	}
	return r.report()
}

// Read reads the file again and takes it over, waiting for the lines to close for
// that long at most, in the background. It returns where that stands, marked with
// ask, by which who asked knows it again.
func (r *reloader) Read(ctx context.Context, patience time.Duration, who, ask string) reloadReport {
	r.asking.Lock()
	defer r.asking.Unlock()
	if ctx.Err() != nil {
		// Who asked has gone while this one had to wait its turn: what was asked for
		// meanwhile stands.
		return reloadReport{State: reloadGaveUp, File: r.file, Ask: ask, Why: "it was withdrawn"}
	}
	r.Stop()
	r.m.reloading()
	next, rep := r.check()
	var in runner.Reloaded
	if rep.State == reloadWaiting {
		var err error
		if in, err = r.prepare(next, rep, who); err != nil {
			rep.State, rep.Why = reloadFailed, err.Error()
		}
	}
	rep.Ask = ask
	switch {
	case ctx.Err() != nil:
		// Who asked has gone, a moment ago.
		rep.State, rep.Why = reloadGaveUp, "it was withdrawn"
	case rep.State == reloadWaiting:
		if rep = r.try(ctx, next, in, rep); !rep.over() && ctx.Err() != nil {
			rep.State, rep.Why = reloadGaveUp, "it was withdrawn"
			_ = r.loop.LetGo(context.WithoutCancel(ctx)) // a loop that has stopped holds nothing back
		}
	}
	r.mu.Lock()
	r.last = rep
	if !rep.over() {
		var wait context.Context
		wait, r.cancel = context.WithTimeout(context.WithoutCancel(ctx), patience)
		r.ended = make(chan struct{})
		go r.wait(wait, r.ended, next, in, rep)
	}
	r.mu.Unlock()
	r.tell(rep)
	return rep
}

// check reads the file and compares it; a report that waits has still to be tried.
func (r *reloader) check() (next *understood, rep reloadReport) {
	rep.File = r.file
	if r.file == "" {
		rep.State, rep.Why = reloadFailed, "this gateway keeps the example that it carries: there is no file to read"
		return nil, rep
	}
	if !r.ready() {
		rep.State, rep.Why = reloadFailed, "the gateway is still closing its lines; ask again in a moment"
		return nil, rep
	}
	was := r.current()
	src, err := config.ReadFile(r.file)
	if err == nil {
		next, err = understandText(r.file, src, was.garden)
	}
	if err != nil {
		rep.State, rep.Problems = reloadFaulty, strings.Split(err.Error(), "\n")
		return nil, rep
	}
	rep.Warnings = next.warnings
	if r.speed == 1 && !reflect.DeepEqual(was.garden.Calling, next.garden.Calling) {
		rep.Warnings = append(slices.Clip(rep.Warnings), next.waysAmiss()...)
	}
	for _, c := range config.Changes(was.garden, next.garden) {
		words := next.source.LocateChange(c)
		rep.Changed = append(rep.Changed, words)
		if c.Restart {
			rep.Restart = append(rep.Restart, words)
		}
	}
	switch {
	case len(rep.Changed) == 0:
		rep.State = reloadUnchanged
	case len(rep.Restart) > 0:
		rep.State = reloadRestart
	default:
		rep.State = reloadWaiting
	}
	return next, rep
}

// prepare makes of a checked version what the loop takes over. It takes a while, so
// it is done once, however often the loop is asked.
func (r *reloader) prepare(next *understood, rep reloadReport, who string) (in runner.Reloaded, err error) {
	g, plan := next.garden, next.plan
	if r.played != nil {
		if g = r.played(g); g != next.garden {
			if plan, err = planOf(g); err != nil {
				return in, err
			}
		}
	}
	feeds, err := feeding.NewPlan(g, plan)
	return runner.Reloaded{
		Garden: g, Plan: plan, Feeding: feeds, What: fmt.Sprintf("garden file read again by %s: %s", who, short(rep.Changed)),
		Limits: valves.Options{PeakNeedL: plan.PeakNeedsL(), DryFillL: plan.DryFillsL()},
	}, err
}

// try takes a checked version over if every line is closed now.
func (r *reloader) try(ctx context.Context, next *understood, in runner.Reloaded, rep reloadReport) reloadReport {
	// Once handed in it is waited for: nobody may hear that nothing changed and
	// then see it happen.
	err := r.loop.Reload(context.WithoutCancel(ctx), in)
	var later runner.NotNow
	switch {
	case err == nil:
		r.taken(next)
		rep.State, rep.Why = reloadApplied, ""
	case errors.As(err, &later):
		rep.State, rep.Why = reloadWaiting, later.Error()
	default:
		rep.State, rep.Why = reloadFailed, err.Error()
	}
	return rep
}

// taken has everything else follow the version that the loop took over.
func (r *reloader) taken(next *understood) {
	r.mu.Lock()
	was := r.now.garden
	r.now = next
	renew, calls := r.renew, r.calls
	r.mu.Unlock()
	if calls != nil && !reflect.DeepEqual(was.Calling, next.garden.Calling) {
		calls(next.garden)
	}
	if renew != nil {
		if err := renew(next.garden); err != nil {
			fmt.Fprintln(r.err, "page:", err, "- it shows the garden file as it was before")
		}
	}
}

// wait tries again until every line is closed or patience ends.
func (r *reloader) wait(ctx context.Context, ended chan struct{}, next *understood, in runner.Reloaded, rep reloadReport) {
	defer close(ended)
	t := time.NewTicker(reloadLook)
	defer t.Stop()
	for !rep.over() {
		select {
		case <-ctx.Done():
			rep.State, rep.Why = reloadGaveUp, "no moment came when every line was closed: "+rep.Why
		case <-t.C:
			rep = r.try(ctx, next, in, rep)
		}
		if rep.over() && rep.State != reloadApplied {
			// A loop that has stopped holds nothing back.
			_ = r.loop.LetGo(context.WithoutCancel(ctx))
		}
		r.mu.Lock()
		r.last = rep
		if rep.over() {
			r.cancel()
			r.cancel = nil
		}
		r.mu.Unlock()
	}
	r.tell(rep)
}

// tell says on standard error and to the service manager what came of it.
func (r *reloader) tell(rep reloadReport) {
	words := rep.words()
	fmt.Fprintln(r.err, strings.Join(words, "\n"))
	status := "keeping the garden; " + words[len(words)-1]
	r.m.reloaded(strings.ReplaceAll(status, "\n", " "))
}

package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"strings"
	"sync"
	"time"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/cmd/gateway/internal/page"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"
	"fabricpot/valves"

	"github.com/spf13/cobra"
)

// A running gateway reads its garden file again on SIGHUP and where 'gateway
// reload' asks it to. All of it is taken over or nothing: not where the file has
// a fault, and not where any change takes a restart.

// What came of reading the garden file again.
const (
	reloadApplied   = "applied"
	reloadUnchanged = "unchanged"
	reloadFaulty    = "faulty"
	reloadRestart   = "restart"
	reloadWaiting   = "waiting"
	reloadGaveUp    = "gave-up"
	reloadFailed    = "failed"
)

// reloadReport is where that stands.
type reloadReport struct {
	State string `json:"state"`
	File  string `json:"file"`
	// Problems are the faults of the file, Warnings what does not keep it from
	// being used; both begin with file, line and column.
	Problems []string `json:"problems,omitempty"`
	Warnings []string `json:"warnings,omitempty"`
	// Changed is what changed, Restart what of it takes a restart.
	Changed []string `json:"changed,omitempty"`
	Restart []string `json:"restart,omitempty"`
	// Why says what it waits for, or what kept it from being applied.
	Why string `json:"why,omitempty"`
}

// over tells that nothing more will come of it.
func (r *reloadReport) over() bool { return r.State != reloadWaiting }

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
	file string // empty: the example that the program carries
	err  io.Writer
	m    *manager
	loop reloadTarget
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

// Read reads the file again and takes it over, waiting for the lines to close for
// that long at most, in the background. It returns where that stands.
func (r *reloader) Read(ctx context.Context, patience time.Duration, who string) reloadReport {
	r.asking.Lock()
	defer r.asking.Unlock()
	r.Stop()
	r.m.reloading()
	next, rep := r.check()
	if rep.State == reloadWaiting {
		rep = r.try(ctx, next, rep, who)
	}
	r.mu.Lock()
	r.last = rep
	if !rep.over() {
		var wait context.Context
		wait, r.cancel = context.WithTimeout(context.WithoutCancel(ctx), patience)
		r.ended = make(chan struct{})
		go r.wait(wait, r.ended, next, rep, who)
	}
	r.mu.Unlock()
	r.tell(rep)
	return rep
}

// listen reads the file again at each SIGHUP, until the returned function has
// ended that and what still waits.
func (r *reloader) listen(ctx context.Context) (stop func()) {
	asked := make(chan struct{}, 1)
	over, ended := make(chan struct{}), make(chan struct{})
	release := hangupOf(ctx).Take(func() {
		select {
		case asked <- struct{}{}:
		default:
		}
	})
	go func() {
		defer close(ended)
		for {
			select {
			case <-asked:
				r.Read(ctx, hangupPatience, "SIGHUP")
			case <-over:
				return
			}
		}
	}()
	return func() {
		release()
		close(over)
		<-ended
		r.Stop()
	}
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
	src, err := os.ReadFile(r.file)
	if err == nil {
		next, err = understandText(r.file, src, was.garden)
	}
	if err != nil {
		rep.State, rep.Problems = reloadFaulty, strings.Split(err.Error(), "\n")
		return nil, rep
	}
	rep.Warnings = next.warnings
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

// try takes a checked version over if every line is closed now.
func (r *reloader) try(ctx context.Context, next *understood, rep reloadReport, who string) reloadReport {
	err := r.takeOver(ctx, next, rep, who)
	var later runner.NotNow
	switch {
	case err == nil:
		rep.State, rep.Why = reloadApplied, ""
	case errors.As(err, &later):
		rep.State, rep.Why = reloadWaiting, later.Error()
	default:
		rep.State, rep.Why = reloadFailed, err.Error()
	}
	return rep
}

func (r *reloader) takeOver(ctx context.Context, next *understood, rep reloadReport, who string) error {
	g, plan := next.garden, next.plan
	if r.played != nil {
		var err error
		if g = r.played(g); g != next.garden {
			if plan, err = planOf(g); err != nil {
				return err
			}
		}
	}
	feeds, err := feeding.NewPlan(g, plan)
	if err != nil {
		return err
	}
	// Once handed in it is waited for: nobody may hear that nothing changed and
	// then see it happen.
	err = r.loop.Reload(context.WithoutCancel(ctx), runner.Reloaded{
		Garden: g, Plan: plan, Feeding: feeds, What: fmt.Sprintf("garden file read again by %s: %s", who, short(rep.Changed)),
		Limits: valves.Options{PeakNeedL: plan.PeakNeedsL(), DryFillL: plan.DryFillsL()},
	})
	if err != nil {
		return err
	}
	r.mu.Lock()
	r.now = next
	renew := r.renew
	r.mu.Unlock()
	if renew != nil {
		if err := renew(next.garden); err != nil {
			fmt.Fprintln(r.err, "page:", err, "- it shows the garden file as it was before")
		}
	}
	return nil
}

// wait tries again until every line is closed or patience ends.
func (r *reloader) wait(ctx context.Context, ended chan struct{}, next *understood, rep reloadReport, who string) {
	defer close(ended)
	t := time.NewTicker(reloadLook)
	defer t.Stop()
	for !rep.over() {
		select {
		case <-ctx.Done():
			rep.State, rep.Why = reloadGaveUp, "no moment came when every line was closed: "+rep.Why
		case <-t.C:
			rep = r.try(ctx, next, rep, who)
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

// words say it to a person, the outcome last.
func (r *reloadReport) words() []string {
	var out []string
	switch r.State {
	case reloadApplied:
		out = append(append(out, r.Warnings...), r.Changed...)
		out = append(out, fmt.Sprintf("%s was read again: %d changed, in force now", r.File, len(r.Changed)))
	case reloadUnchanged:
		out = append(out, r.Warnings...)
		out = append(out, r.File+" was read again: nothing changed")
	case reloadFaulty:
		out = append(out, r.Problems...)
		out = append(out, r.File+" has faults: nothing was changed, and the garden is kept as before")
	case reloadRestart:
		for _, c := range r.Changed {
			for _, b := range r.Restart {
				if b == c {
					c += "; this takes a restart"
					break
				}
			}
			out = append(out, c)
		}
		out = append(out, "nothing was changed: restart the gateway for all of it, or take back what takes a restart")
	case reloadWaiting:
		out = append(out, r.File+" is sound; it is taken over when every line is closed; "+r.Why)
	case reloadGaveUp:
		out = append(out, "nothing was changed: "+r.Why+"; ask again later, or restart the gateway")
	default:
		out = append(out, "nothing was changed: "+r.Why)
	}
	return out
}

// short lists changes for the journal.
func short(all []string) string {
	const most = 12
	if len(all) > most {
		return strings.Join(all[:most], "; ") + fmt.Sprintf("; and %d more", len(all)-most)
	}
	return strings.Join(all, "; ")
}

// serve answers over the control socket.
func (r *reloader) serve(next http.Handler) http.Handler {
	mux := http.NewServeMux()
	mux.Handle("/", next)
	answer := func(w http.ResponseWriter, rep reloadReport) {
		w.Header().Set("Content-Type", "application/json; charset=utf-8")
		_ = json.NewEncoder(w).Encode(rep) // the peer may be gone
	}
	mux.HandleFunc("POST /reload", func(w http.ResponseWriter, q *http.Request) {
		var in struct {
			PatienceS float64 `json:"patience_s"`
		}
		dec := json.NewDecoder(http.MaxBytesReader(w, q.Body, 4096))
		dec.DisallowUnknownFields()
		if err := dec.Decode(&in); err != nil || !(in.PatienceS >= 0 && in.PatienceS <= mostReloadWait.Seconds()) {
			w.WriteHeader(http.StatusBadRequest)
			fmt.Fprintf(w, `{"error": "expected {\"patience_s\": SECONDS}, 0 to %.0f"}`, mostReloadWait.Seconds())
			return
		}
		answer(w, r.Read(q.Context(), time.Duration(in.PatienceS*float64(time.Second)), "gateway reload"))
	})
	mux.HandleFunc("GET /reload", func(w http.ResponseWriter, _ *http.Request) { answer(w, r.report()) })
	mux.HandleFunc("DELETE /reload", func(w http.ResponseWriter, _ *http.Request) {
		r.Stop()
		answer(w, r.report())
	})
	return mux
}

func newReload(s streams) *cobra.Command {
	var socket string
	var patience time.Duration
	cmd := &cobra.Command{
		Use:   "reload",
		Short: "Have the running gateway read its garden file again",
		Long: `reload has the running gateway read its garden file again. The whole file is
checked first. A file with faults changes nothing; they are printed with their
lines and columns. Otherwise all of it is taken over at a moment when every line
is closed, or nothing:

What grows, mixes, calibrations, sizes, refill points, hours, limits, feeds and
products are taken over. What is known of each pot stays: its water, what it was
seen to drink, what it got and what is due. A tighter limit holds at once, a
looser one a day later, so that nothing that is left of today's budget grows.
Hours of watering that only grew hold a day later too, those that moved at once.

Site, hardware, buses, pins, emitters and injectors, thermometers, tank, pump and
gauges, broker, how alarms reach people, journal, the interval of the rounds, and
pots, zones, probes or lines that come, go or change places take a restart; so do
names where there is a broker. Where a file changes any of these, reload
names them and takes over nothing.

While a line is open it waits for --wait at most and gives up then; meanwhile no
watering begins but what you ask for, feeds and survival doses. SIGHUP does
the same and waits two hours; what came of it is in the log.`,
		Args: usage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if patience < 0 || patience > mostReloadWait {
				return wrongUse{fmt.Errorf("--wait %v: expected 0s to %v", patience, mostReloadWait)}
			}
			return reload(cmd.Context(), s, page.NewClient(socket), patience)
		},
	}
	cmd.Flags().DurationVar(&patience, "wait", 10*time.Minute, "how long to wait for the lines to close")
	socketFlag(cmd, &socket)
	return cmd
}

// reload asks the gateway and waits for what comes of it.
func reload(ctx context.Context, s streams, c *page.Client, patience time.Duration) error {
	var rep reloadReport
	in := map[string]float64{"patience_s": patience.Seconds()}
	if err := c.Do(ctx, "POST", "/reload", in, &rep); err != nil {
		return err
	}
	told := false
	for !rep.over() {
		if !told {
			fmt.Fprintln(s.err, strings.Join(rep.words(), "\n"))
			told = true
		}
		select {
		case <-ctx.Done():
			// Who gave up does not want to find it done an hour later.
			leave, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
			defer cancel()
			return errors.Join(errors.New("interrupted; nothing was changed"), c.Do(leave, "DELETE", "/reload", nil, nil))
		case <-time.After(reloadLook):
		}
		if err := c.Do(ctx, "GET", "/reload", nil, &rep); err != nil && ctx.Err() == nil {
			return err
		}
	}
	words := rep.words()
	if rep.State == reloadApplied || rep.State == reloadUnchanged {
		for _, w := range rep.Warnings {
			fmt.Fprintln(s.err, w)
		}
		for _, c := range rep.Changed {
			fmt.Fprintln(s.out, c)
		}
		fmt.Fprintln(s.out, words[len(words)-1])
		return nil
	}
	for _, w := range words[:len(words)-1] {
		fmt.Fprintln(s.err, w)
	}
	return errors.New(words[len(words)-1])
}

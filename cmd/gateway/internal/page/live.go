package page

import (
	"fmt"
	"net/http"
	"sync"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
)

// liveHeader marks a page's request for its own fresh figures.
const liveHeader = "X-Live"

const (
	// liveCheck is how often a viewer's stream looks whether there is news. It
	// costs the control loop nothing: reading a Status is one atomic load.
	liveCheck = time.Second
	// liveBeat keeps the connection from looking dead.
	liveBeat    = 20 * time.Second
	liveTimeout = 10 * time.Second
)

// live streams "there is news" as server-sent events. The page then asks for
// itself again, so that what is live and what is loaded are drawn by one code.
func (p *Page) live(w http.ResponseWriter, r *http.Request, v *visit) {
	select {
	case p.streams <- struct{}{}:
		defer func() { <-p.streams }()
	default:
		http.Error(w, tErrWaitTx, http.StatusServiceUnavailable)
		return
	}
	h := w.Header()
	h.Set("Content-Type", "text/event-stream")
	out := http.NewResponseController(w)
	say := func(format string, a ...any) bool {
		// The server's own time-out is for short answers.
		if err := out.SetWriteDeadline(time.Now().Add(liveTimeout)); err != nil {
			return false
		}
		if _, err := fmt.Fprintf(w, format, a...); err != nil {
			return false
		}
		return out.Flush() == nil
	}
	// Before anybody knows that the stream stands: news from then on is told.
	last := p.o.Gateway.Status()
	if !say("retry: 5000\n\n") {
		return
	}
	check := time.NewTicker(liveCheck)
	defer check.Stop()
	quiet := time.Now()
	for {
		select {
		case <-r.Context().Done():
			return
		case <-check.C:
		}
		if v.signedIn {
			if _, ok := p.sessions.role(v.session); !ok {
				return
			}
		}
		if st := p.o.Gateway.Status(); st != last && st != nil {
			last, quiet = st, time.Now()
			if !say("event: round\ndata: %d\n\n", st.Ticks) {
				return
			}
		} else if time.Since(quiet) >= liveBeat {
			quiet = time.Now()
			if !say(": still here\n\n") {
				return
			}
		}
	}
}

// watch notes when the gateway last published something new, by the page's own
// clock: a loop that hangs publishes nothing, so it can't be asked.
type watch struct {
	now  func() time.Time
	mu   sync.Mutex
	last *runner.Status
	at   time.Time
}

// quiet is how long st has been the newest status.
func (w *watch) quiet(st *runner.Status) time.Duration {
	now := w.now()
	w.mu.Lock()
	defer w.mu.Unlock()
	if st != w.last || w.at.IsZero() {
		w.last, w.at = st, now
	}
	return now.Sub(w.at)
}

// healthz says in one word for a supervisor whether the loop goes round.
func (p *Page) healthz(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	st := p.o.Gateway.Status()
	if quiet := p.watch.quiet(st); st == nil || quiet > p.patience() {
		w.WriteHeader(http.StatusServiceUnavailable)
		fmt.Fprintln(w, "stalled")
		return
	}
	fmt.Fprintln(w, "ok")
}

package main

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"sync"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/notify"
	"fabricpot/cmd/gateway/internal/page"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/alarm"
	"fabricpot/control/garden"
	"fabricpot/valves"
	"fabricpot/valves/gpioline"
)

// messages carry alarms to a person, by the ways that the garden file names. What it
// names may change while the gateway runs.
type messages struct {
	err   io.Writer
	open  func(*garden.Garden, []notify.Way, *notify.Left) *notify.Post
	mono  func() time.Duration
	speed float64
	// lamp is opened once and stays as it is while other ways change: what it shows has
	// to be seen. Nil where there is none.
	lamp *notify.Lamp
	pin  io.Closer

	mu   sync.Mutex
	post *notify.Post // nil where nothing is sent
	left *notify.Left // by the post before, nil where there was none
	// paced tells that ways are named and stay silent, since the garden's time is not people's.
	paced bool
	// closed tells that the gateway is ending.
	closed bool
}

// openMessages sets up the ways that the garden file names. What is wrong with
// one was told and keeps neither the others nor the garden.
func openMessages(ctx context.Context, s streams, g *garden.Garden, speed float64, desk *runner.Desk, j *journal.Journal) *messages {
	began := time.Now()
	m := &messages{err: s.err, speed: speed, mono: func() time.Duration { return time.Since(began) }}
	m.open = func(g *garden.Garden, ways []notify.Way, from *notify.Left) *notify.Post {
		return notify.Open(ctx, notify.Options{
			Site: g.Site, Set: g.Calling, Ways: ways, Lamp: m.lamp, Memory: j, From: from,
			Alarms: func() ([]runner.AlarmLine, bool) {
				st := desk.Status()
				if st == nil {
					return nil, false
				}
				return st.Alarms, true
			},
			Clock: func() garden.Moment {
				// The garden's own clock, with the gardener's word for it.
				now := garden.Moment{Mono: m.mono(), Wall: time.Now().In(g.Site.Zone)}
				if st := desk.Status(); st != nil {
					now.Wall, now.Synced = st.At, st.Synced
				}
				return now
			},
			Log: func(line string) { fmt.Fprintln(s.err, "alarms:", line) },
		})
	}
	if speed == 1 {
		m.openLamp(g)
	}
	m.follow(g)
	return m
}

// follow sends by the ways of g from now on. What was told stays told, and what was on
// its way by the old ones is told anew by these.
func (m *messages) follow(g *garden.Garden) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.end()
	m.paced = m.speed != 1 && g.Calling.Reaches()
	if m.closed || !g.Calling.Reaches() {
		return
	}
	if m.paced {
		fmt.Fprintln(m.err, "alarms:", pacedWords)
		return
	}
	ways, _ := notify.Network(g.Calling) // what is wrong with one was told
	if m.lamp != nil {
		ways = append(ways, m.lamp)
	}
	if len(ways) == 0 {
		return
	}
	m.post = m.open(g, ways, m.left)
	names := make([]string, 0, len(ways))
	for _, w := range ways {
		names = append(names, w.Name())
	}
	fmt.Fprintf(m.err, "alarms reach you by %s; try it with 'gateway alarms ring'\n", strings.Join(names, ", "))
}

// openLamp opens the lamp's pin, where there is one.
func (m *messages) openLamp(g *garden.Garden) {
	set, err := g.Calling.Lamp, m.err
	if !set.Wired {
		return
	}
	if g.Hardware.Kind == garden.Bench {
		fmt.Fprintln(err, "alarms: a bench has no lamp")
		return
	}
	pin, bad := gpioline.New(set.Chip, set.Pin, gpioline.Opts{Consumer: "gateway lamp"})
	if bad != nil {
		fmt.Fprintln(err, "alarms: lamp:", bad)
		return
	}
	on, bad := valves.NewIndicator(pin, set.ActiveLow, set.OnFor)
	if bad != nil {
		fmt.Fprintln(err, "alarms: lamp:", errors.Join(bad, pin.Close()))
		return
	}
	m.pin = pin
	if m.lamp, bad = notify.NewLamp(on, set.OnFor, m.mono); bad != nil {
		fmt.Fprintln(err, "alarms: lamp:", bad) // it goes on trying
	}
}

// silent says why nothing is sent where the garden file names a way, "" where that is not
// for its speed.
func (m *messages) silent() string {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.paced {
		return pacedWords
	}
	return ""
}

// pacedWords are why a gateway with --speed sends nothing.
const pacedWords = "nothing is sent with --speed: people live in real time"

// sends is what sends now; nil where nothing is sent.
func (m *messages) sends() *notify.Post {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.post
}

// ways tells how each way has been doing.
func (m *messages) ways() []notify.WayStatus {
	if p := m.sends(); p != nil {
		return p.Ways()
	}
	return nil
}

// end ends what is sent now and keeps what it leaves to the next.
func (m *messages) end() {
	if m.post != nil {
		m.left = m.post.Close()
		m.post = nil
	}
}

func (m *messages) close() {
	if m == nil {
		return
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	m.closed = true
	m.end()
	if m.lamp == nil {
		return
	}
	if err := errors.Join(m.lamp.End(), m.pin.Close()); err != nil {
		fmt.Fprintln(m.err, "alarms:", err)
	}
	m.lamp = nil
}

// onAlarm names an alarm in a request.
type onAlarm struct {
	Name  string `json:"name"`
	About string `json:"about"`
	// Hours is how long it is out of service; 0 puts it back.
	Hours float64 `json:"hours,omitempty"`
}

// serve adds what 'gateway alarms' asks for to the control socket's handlers.
func (m *messages) serve(desk *runner.Desk, rest http.Handler) http.Handler {
	mux := http.NewServeMux()
	mux.Handle("/", rest)
	mux.HandleFunc("GET /ways", func(w http.ResponseWriter, _ *http.Request) { page.Answer(w, m.ways()) })
	mux.HandleFunc("POST /ring", func(w http.ResponseWriter, r *http.Request) {
		p := m.sends()
		if p == nil {
			page.Refuse(w, http.StatusBadRequest, cmp.Or(m.silent(), "this gateway's garden file names no way to reach anybody: see alarms: in its schema"))
			return
		}
		rung, err := p.Ring(r.Context())
		if err != nil {
			page.Refuse(w, http.StatusBadRequest, err.Error())
			return
		}
		page.Answer(w, rung)
	})
	act := func(do func(context.Context, onAlarm) error) http.HandlerFunc {
		return func(w http.ResponseWriter, r *http.Request) {
			var a onAlarm
			dec := json.NewDecoder(http.MaxBytesReader(w, r.Body, 4096))
			dec.DisallowUnknownFields()
			err := dec.Decode(&a)
			if err != nil {
				err = fmt.Errorf("expected an alarm's name and what it is about: %w", err)
			} else {
				err = do(r.Context(), a)
			}
			if err != nil {
				page.Refuse(w, http.StatusBadRequest, err.Error())
				return
			}
			page.Answer(w, struct{}{})
		}
	}
	const who = "control socket"
	mux.HandleFunc("POST /alarms/seen", act(func(ctx context.Context, a onAlarm) error { return desk.Acknowledge(ctx, a.Name, a.About, who) }))
	mux.HandleFunc("POST /alarms/rest", act(func(ctx context.Context, a onAlarm) error {
		if most := alarm.MostShelved.Hours(); !(a.Hours >= 0 && a.Hours <= most) {
			return fmt.Errorf("out of service for %.4g days: expected a time of up to %.0f days", a.Hours/24, most/24)
		}
		return desk.Rest(ctx, a.Name, a.About, time.Duration(a.Hours*float64(time.Hour)), who)
	}))
	return mux
}

// pageWays are what page and metrics show of them.
func (m *messages) pageWays() []page.Way {
	var out []page.Way
	for _, w := range m.ways() {
		p := page.Way{Name: w.Name, Words: wayWords(&w), Works: w.Works(), Sent: w.Sent, Lost: w.Failed + w.Dropped}
		if w.LastSent != nil {
			p.LastSent = *w.LastSent
		}
		out = append(out, p)
	}
	return out
}

// printCalling says by which ways alarms reach a person, and how they have been doing
// where a gateway runs here.
func printCalling(ctx context.Context, w io.Writer, g *garden.Garden) {
	c := &g.Calling
	if !c.Reaches() {
		fmt.Fprintln(w, "\nalarms: on the page and through a hub alone; name webhooks, mail or a lamp under alarms:")
		return
	}
	fmt.Fprintln(w)
	ways, _ := notify.Network(*c)
	for _, x := range ways {
		fmt.Fprintln(w, "alarms: by", x.Name())
	}
	if c.Lamp.Wired {
		fmt.Fprintf(w, "alarms: by lamp on pin %d, %v after each message\n", c.Lamp.Pin, c.Lamp.OnFor)
	}
	ctx, cancel := context.WithTimeout(ctx, 2*time.Second)
	defer cancel()
	var running []notify.WayStatus
	if page.NewClient(defaultSocket()).Do(ctx, "GET", "/ways", nil, &running) == nil {
		for i := range running {
			fmt.Fprintf(w, "alarms: the gateway that runs here: %s: %s\n", running[i].Name, wayWords(&running[i]))
		}
	}
}

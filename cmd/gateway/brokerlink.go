package main

import (
	"context"
	"fmt"
	"log/slog"
	"path/filepath"
	"time"

	"fabricpot/cmd/gateway/internal/hub"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
	"fabricpot/mqtt/topic"

	"github.com/spf13/cobra"
)

// brokerFlags change what the garden file says of the broker.
type brokerFlags struct {
	listen string
	none   bool
}

func (f *brokerFlags) on(cmd *cobra.Command) {
	fl := cmd.Flags()
	fl.StringVar(&f.listen, "broker-listen", "", "`ADDRESS` of the embedded broker, in place of the garden file's; port 0 takes a free one")
	fl.BoolVar(&f.none, "no-broker", false, "use no message broker: what hangs on one is played by a bench, and missing on a board")
}

// hasRemote reports whether the garden has probes or valves on a broker.
func hasRemote(g *garden.Garden) bool {
	for _, p := range g.ProbeList() {
		if p.Remote != nil {
			return true
		}
	}
	for i := range g.Lines {
		if g.Lines[i].Valve.Kind == garden.RemoteValve {
			return true
		}
	}
	return false
}

// realTimeOnly reports whether the broker brings in something that knows no
// other time than the real one.
func (f *brokerFlags) realTimeOnly(g *garden.Garden) bool {
	b := &g.Broker
	return !f.none && b.URL != "" && (b.URL != garden.EmbeddedBroker || len(b.Sky) > 0 || hasRemote(g))
}

// played reports whether there is no broker, so that a bench plays what would hang
// on one.
func (f *brokerFlags) played(g *garden.Garden) bool {
	return g.Broker.URL == "" || f.none && g.Hardware.Kind == garden.Bench
}

// brokerLink is the broker's side of a running gateway. A nil one is a garden
// without a broker.
type brokerLink struct {
	remote *hub.Remote
	ends   *hub.Ends
	tie    *hub.Tie
	stop   func()
}

const (
	// linkPatience is how long the start waits for a broker that remote devices
	// hang on, so that the first close finds its valves.
	linkPatience = 3 * time.Second
	// farewell bounds how long the end waits for what is unsent.
	farewell = 2 * time.Second
)

// open sets up what the garden file says. Whatever is wrong with a broker is
// told and never keeps the garden from being watered.
func (f *brokerFlags) open(ctx context.Context, s streams, u *understood, keeper *runner.Keeper, clock func() garden.Moment) *brokerLink {
	g := *u.garden
	bench := g.Hardware.Kind == garden.Bench
	switch {
	case f.played(&g), f.none && !hasRemote(&g):
		return nil
	case f.none:
		return &brokerLink{ends: hub.NewEnds(nil, "switched off with --no-broker", clock)}
	case f.listen != "" && g.Broker.URL == garden.EmbeddedBroker:
		g.Broker.Listen = f.listen
	}
	about := hub.About{Garden: u.garden, Version: version(), PulseL: map[garden.ZoneID]float64{}}
	for _, z := range u.plan.Zones() {
		about.PulseL[z.ID] = z.PulseL
	}
	r, left, err := hub.Open(&g, hub.RemoteOptions{
		First: about.First(), Memory: f.memory(&g, keeper, bench), Clock: clock,
		Log: slog.New(slog.NewTextHandler(s.err, &slog.HandlerOptions{Level: slog.LevelWarn})),
	})
	for _, e := range left {
		fmt.Fprintln(s.err, "broker:", e)
	}
	if err != nil {
		fmt.Fprintln(s.err, "broker:", err, "- the garden is kept without it")
		return &brokerLink{ends: hub.NewEnds(nil, err.Error(), clock)}
	}
	given, err := keeper.DeliveriesSince(time.Unix(0, 0))
	if err != nil {
		fmt.Fprintln(s.err, "broker: totals begin at nothing:", err)
	}
	// Lines are closed through the link after ctx has ended.
	r.Start(context.WithoutCancel(ctx))
	base := topic.DefaultPrefix
	if g.Broker.Prefix != "" {
		base = g.Broker.Prefix
	}
	where := r.URL()
	if where == "" {
		where = g.Broker.URL
	}
	fmt.Fprintf(s.err, "broker: %s, topics under %s/%s\n", where, base, g.Site.ID)
	for start := time.Now(); hasRemote(&g) && !r.Status().Connected && time.Since(start) < linkPatience && ctx.Err() == nil; {
		time.Sleep(20 * time.Millisecond)
	}
	return &brokerLink{remote: r, ends: hub.NewEnds(r, "", clock), tie: hub.NewTie(r, about, given)}
}

// memory is where what was published is remembered. An embedded broker of a
// bench begins empty, as the bench does.
func (f *brokerFlags) memory(g *garden.Garden, keeper *runner.Keeper, bench bool) hub.Memory {
	dir := filepath.Dir(keeper.Path())
	if bench && g.Broker.URL != garden.EmbeddedBroker {
		var err error
		if dir, err = stateDir(); err != nil {
			return nil
		}
	}
	return hub.File(filepath.Join(dir, "published-"+g.Site.ID+".json"))
}

// far is what the loop gets of it.
func (l *brokerLink) far() runner.Far {
	if l == nil {
		return nil
	}
	return l.ends
}

// tell adds the broker to those who are told.
func (l *brokerLink) tell(t runner.Teller) runner.Teller {
	if l == nil || l.tie == nil {
		return t
	}
	return runner.Tellers{t, l.tie}
}

// serve ties a running loop to it.
func (l *brokerLink) serve(desk *runner.Desk) {
	if l == nil || l.tie == nil {
		return
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		l.tie.Serve(ctx, desk)
	}()
	l.stop = func() { cancel(); <-ended }
}

// close says farewell, after every line is closed.
func (l *brokerLink) close() {
	if l == nil || l.remote == nil {
		return
	}
	if l.stop != nil {
		l.stop()
	}
	l.remote.Close(farewell)
}

// words say for a person how the link to the broker stands.
func (l *brokerLink) words() string {
	switch {
	case l == nil:
		return "none: the garden is kept without one"
	case l.remote == nil:
		return "away: the garden is kept without it"
	case l.remote.Status().Connected:
		return "connected"
	}
	return "not reached; tried again all the time"
}

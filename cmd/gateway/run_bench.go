package main

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/cmd/gateway/internal/season"
	"fabricpot/control/garden"
	"fabricpot/sim/terrace"
)

// benchWorld makes the bench of a garden and closes its lines, as closeAtStart does
// on a board.
func benchWorld(g *garden.Garden, f runFlags, tell io.Writer) (*season.World, error) {
	zone := g.Site.Zone
	start, err := dateFlag("--date", f.date, time.Date(time.Now().Year(), time.July, 1, 0, 0, 0, 0, zone), zone)
	if err != nil {
		return nil, err
	}
	// People who try it want to see a day begin.
	start = start.Add(5 * time.Hour)
	w, rep, err := season.NewWorld(g, f.broker.played(g), season.Options{
		Seed: f.seed, Start: start, Weather: season.Climate(f.seed, start, 800),
		// Somewhat dry, so that there is something to see soon.
		Terrace: benchTerrace(f.seed),
	})
	if err != nil {
		return nil, err
	}
	tellClosed(tell, rep, len(g.Lines))
	return w, nil
}

// runBench keeps the garden on the virtual bench.
func runBench(ctx context.Context, s streams, u *understood, f runFlags, world *season.World, keeper *runner.Keeper, rl *reloader, serve func(*runner.Desk, *brokerLink) *http.Server) (runner.CloseReport, error) {
	zone := u.garden.Site.Zone
	// Commands and remote devices live in real time, whatever day the bench has.
	began := time.Now()
	link := f.broker.open(ctx, s, u, keeper, func() garden.Moment {
		return garden.Moment{Mono: time.Since(began), Wall: time.Now().In(zone), Synced: true}
	})
	defer link.close()
	b, err := season.NewBench(u.garden, season.Options{
		Far: link.far(), Like: u.plan, World: world.Bench,
		Seed: f.seed, Start: world.Start, Weather: world.Weather,
		Journal: keeper, JournalPath: keeper.Path(), Tell: link.tell(runner.NewPrinter(s.out)), Watched: true,
	})
	if err != nil {
		return runner.CloseReport{}, err
	}
	inbox := runner.NewInbox()
	desk := runner.NewDesk(b.Loop, inbox)
	m := newManager(s.err, u.garden.SampleEvery)
	rl.m, rl.played = m, b.Played
	srv := serve(desk, link)
	defer srv.Close()
	defer rl.listen(ctx)()
	link.serve(desk)
	fmt.Fprintf(s.err, "%s on the virtual bench from %s, %g times real time; Ctrl-C closes every line and ends it\n",
		u.garden.Site.Name, world.Start.Format("2006-01-02 15:04"), f.speed)
	defer context.AfterFunc(ctx, m.stopping)()
	m.unwatched()
	return b.Paced(ctx, inbox, f.speed)
}

// benchTerrace is a plausible terrace whose pots have not been watered for a
// day or so.
func benchTerrace(seed uint64) terrace.Options {
	o := terrace.DefaultOptions(seed, nil)
	o.StartSuctionCM = 18
	return o
}

package season

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control"
	"fabricpot/control/alarm"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"
	"fabricpot/sim/bench"
	"fabricpot/testdata"
	"fabricpot/valves"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
)

// diary writes everything down that a Teller is told.
type diary struct{ lines []string }

func (d *diary) add(v ...any) { d.lines = append(d.lines, fmt.Sprintf("%#v", v)) }

func (d *diary) Opened(now garden.Moment, o garden.Order) { d.add(now.Mono, o) }
func (d *diary) Ended(x garden.Delivery)                  { d.add(x.ClosedAt.Mono, x.Order, x.Litres, x.End) }
func (d *diary) Refused(now garden.Moment, o garden.Order, r garden.Refusal) {
	d.add(now.Mono, o, r.Cause)
}
func (d *diary) Noticed(e control.Event)                          { d.add(e.Kind, e.A, e.At.Mono) }
func (d *diary) Alarmed(c alarm.Change)                           { d.add(c.Kind, c.Subject, c.At.Mono) }
func (d *diary) Failed(now garden.Moment, what string, err error) { d.add(now.Mono, what, err.Error()) }

// counted counts what a pin is told.
type counted struct {
	gpio.PinOut
	n *int
}

func (c counted) Out(l gpio.Level) error {
	*c.n++
	return c.PinOut.Out(l)
}

// reloadBench is a running bench and how often its pins were commanded.
func reloadBench(t require.TestingT, g *garden.Garden, tell runner.Teller) (*Bench, *int) {
	start, n := time.Date(2026, 7, 1, 5, 0, 0, 0, g.Site.Zone), 0
	b, err := NewBench(g, Options{Seed: 5, Start: start, Weather: Climate(5, start, 40), Tell: tell, Watched: true,
		Coil: func(p *bench.Pin) gpio.PinOut { return counted{p, &n} }})
	require.NoError(t, err)
	require.NoError(t, b.Begin())
	return b, &n
}

// reloaded is what a program makes of another version of a bench's garden.
func reloaded(b *Bench, g *garden.Garden) (runner.Reloaded, error) {
	g = b.Played(g)
	plan, _, err := control.NewPlan(g)
	if err != nil {
		return runner.Reloaded{}, err
	}
	feeds, err := feeding.NewPlan(g, plan)
	return runner.Reloaded{Garden: g, Plan: plan, Feeding: feeds, What: "test",
		Limits: valves.Options{PeakNeedL: plan.PeakNeedsL(), DryFillL: plan.DryFillsL()}}, err
}

// TestReloadOfTheSameFile: the whole gateway on the bench, with feeds, goes on as
// if nothing had happened, to the last bit.
func TestReloadOfTheSameFile(t *testing.T) {
	days := 5
	if testing.Short() {
		days = 2
	}
	run := func(again bool) ([]string, int) {
		g := load(t, "terrace.yaml", testdata.Terrace)
		d, n := &diary{}, 0
		b, _ := reloadBench(t, g, d)
		for h := range days * 24 {
			b.RunTo(time.Duration(h)*time.Hour + 31*time.Minute)
			if open, _ := b.Guard.AllShut(); len(open) > 0 || !again {
				continue
			}
			r, err := reloaded(b, load(t, "terrace.yaml", testdata.Terrace))
			require.NoError(t, err)
			require.NoError(t, b.Loop.Reload(b.Moment(), r))
			n++
		}
		b.End()
		return d.lines, n
	}
	plain, _ := run(false)
	again, n := run(true)
	require.NotEmpty(t, plain)
	require.Greater(t, n, days*6, "reloads that found every line closed")
	assert.Equal(t, plain, again)
}

// TestReloadWhileALineIsOpen waits for the close, and holds other lines back only
// that long.
func TestReloadWhileALineIsOpen(t *testing.T) {
	b, _ := reloadBench(t, load(t, "terrace.yaml", testdata.Terrace), nil)
	for open := []garden.LineID(nil); len(open) == 0; open, _ = b.Guard.AllShut() {
		require.Less(t, b.Clock.Now(), 48*time.Hour)
		b.RunTo(b.Clock.Now() + time.Minute)
	}
	g := load(t, "terrace.yaml", testdata.Terrace)
	g.Limits.FrostC = 3
	r, err := reloaded(b, g)
	require.NoError(t, err)
	var later runner.NotNow
	require.ErrorAs(t, b.Loop.Reload(b.Moment(), r), &later)
	assert.NotEmpty(t, later.Open)
	assert.Positive(t, later.Within)
	assert.Contains(t, later.Error(), "for")
	seen := map[garden.LineID]bool{}
	for _, id := range later.Open {
		seen[id] = true
	}
	bound := b.Clock.Now() + later.Within + 2*time.Minute
	for err = later; err != nil; err = b.Loop.Reload(b.Moment(), r) {
		require.ErrorAs(t, err, &later)
		for _, id := range later.Open {
			require.True(t, seen[id], "%s was opened while a reload waited", id)
		}
		b.RunTo(b.Clock.Now() + 30*time.Second)
		require.LessOrEqual(t, b.Clock.Now(), bound, "every line closes by its deadline")
	}
	opened := false
	for range 24 * 60 {
		b.RunTo(b.Clock.Now() + time.Minute)
		if open, _ := b.Guard.AllShut(); len(open) > 0 {
			opened = true
			break
		}
	}
	assert.True(t, opened, "afterwards the garden is watered as before")
	b.End()
}

// TestReloadOfRandomEdits: no edit that may be taken over moves a pin by itself or
// lets a line give more on that day, and the pots are kept afterwards.
func TestReloadOfRandomEdits(t *testing.T) {
	n, taken := 25, 0
	if testing.Short() {
		n = 4
	}
	for seed := range n {
		rng := rand.New(rand.NewPCG(uint64(seed), 10))
		b, moved := reloadBench(t, load(t, "terrace.yaml", testdata.Terrace), nil)
		b.RunTo(time.Duration(1+rng.IntN(30*60)) * time.Minute)
		for range 1 + rng.IntN(3) {
			g := load(t, "terrace.yaml", testdata.Terrace)
			editFile(rng, g)
			for _, c := range config.Changes(load(t, "terrace.yaml", testdata.Terrace), g) {
				if c.Restart {
					t.Fatalf("seed %d: the edit of %s takes a restart", seed, c.Path)
				}
			}
			r, err := reloaded(b, g)
			if err != nil {
				continue // an edit that check refuses
			}
			for {
				if open, _ := b.Guard.AllShut(); len(open) == 0 {
					break
				}
				b.RunTo(b.Clock.Now() + time.Minute)
			}
			before, _ := b.Guard.Snapshot(b.Moment())
			was := *moved
			var later runner.NotNow
			switch err := b.Loop.Reload(b.Moment(), r); {
			case err == nil:
				taken++
			case !errors.As(err, &later):
				t.Fatalf("seed %d: %v", seed, err)
			}
			if *moved != was {
				t.Fatalf("seed %d: a reload commanded %d pins", seed, *moved-was)
			}
			after, _ := b.Guard.Snapshot(b.Moment())
			for i := range after {
				if after[i].Open || after[i].CapL-after[i].SpentL > before[i].CapL-before[i].SpentL || after[i].SpentL != before[i].SpentL || after[i].DoseL > before[i].DoseL {
					t.Fatalf("seed %d: line %s: %+v after %+v", seed, after[i].Line, after[i], before[i])
				}
			}
			b.RunTo(b.Clock.Now() + 6*time.Hour)
		}
		if rep := b.End(); len(rep.Unconfirmed) > 0 {
			t.Fatalf("not closed: %v", rep.Unconfirmed)
		}
	}
	require.Greater(t, taken, n/2, "edits that were taken over")
}

// editFile changes what a running gateway may take over.
func editFile(rng *rand.Rand, g *garden.Garden) {
	maybe := func() bool { return rng.IntN(3) == 0 }
	between := func(lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }
	if maybe() {
		g.Limits.DailyFactor = between(2, 10)
		g.Limits.MaxOn = 2*time.Hour + time.Duration(rng.Int64N(int64(4*time.Hour)))
		g.Limits.SurvivalShare = between(0.01, 0.2)
	}
	if maybe() {
		from := time.Duration(rng.IntN(24)) * time.Hour
		g.Supply.Hours = []garden.DayWindow{{From: from, To: (from + 8*time.Hour) % (24 * time.Hour)}}
	}
	for i := range g.Mixes {
		if maybe() {
			g.Mixes[i].Calibration.OffsetWater = between(-0.05, 0.05)
		}
		if maybe() {
			g.Mixes[i].Retention.N = between(1.4, 1.9)
		}
	}
	for i := range g.Pots {
		for k := range g.Pots[i].Zones {
			z := &g.Pots[i].Zones[k]
			if maybe() {
				z.Plants = []garden.Plant{{Crop: []string{"aubergine", "chilli", "cucumber"}[rng.IntN(3)], Count: 1 + rng.IntN(3)}}
			}
			if maybe() {
				z.Feed = garden.FeedPlan{}
			}
			if maybe() {
				z.LeachingFraction = between(0, 0.3)
			}
		}
	}
	for i := range g.Lines {
		if maybe() {
			g.Lines[i].DailyCapL = garden.Known(between(1, 100))
		}
	}
}

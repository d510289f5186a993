package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"net"
	"net/rpc"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strconv"
	"sync"
	"syscall"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"
	"fabricpot/sensors"
	"fabricpot/sensors/ads1115"
	"fabricpot/sim/bench"
	"fabricpot/sim/terrace"
	"fabricpot/valves"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The kill harness keeps a simulated terrace - soil, converters on a bus, output
// pins that stay as they were driven - alive in this process and runs the
// gateway's loop, guard, drivers and journal against it in another, in real time,
// which it kills with SIGKILL at random moments. It proves nothing about a
// kernel's pins or about a card that loses power: processes die here, not boards.

// killGarden is synthetic: lines that give a pulse in a second, and
// one whose pot is fed through an injector.
const killGarden = `
site: { name: Kills, latitude: 40.64, longitude: 22.94, elevation: 45 m, time-zone: Europe/Athens }
mixes:
  light:
    illustrative: yes
    retention: { model: van-genuchten, theta-r: 10 %, theta-s: 88 %, alpha: 0.15 /cm, n: 1.6, conductivity: 30 cm/h }
    calibration: { method: two-point, points: [ { volts: 2.55 V, water: 10 % }, { volts: 1.35 V, water: 60 % } ] }
products:
  crystals: { form: soluble, label: 20-10-20 }
pots:
  a: { mix: light, size: 150 L, plants: [ { crop: aubergine, canopy: 0.5 m2 } ], probes: { n: { depth: 12 cm, input: 0x48/0 } } }
  b: { mix: light, size: 150 L, plants: [ { crop: chilli, canopy: 0.5 m2 } ], probes: { n: { depth: 12 cm, input: 0x48/1 } } }
  fed:
    mix: light
    size: 150 L
    plants: [ { crop: aubergine, canopy: 0.5 m2 } ]
    feed: { products: [crystals], every: 5 d, dose: 0.3 L, strength: 100 ppm }
    probes: { n: { depth: 12 cm, input: 0x48/2 } }
lines:
  a: { valve: { pin: 17 }, waters: { a: 50 x 8 L/h } }
  b: { valve: { pin: 27, active-low: yes }, waters: { b: 50 x 8 L/h } }
  fed: { valve: { pin: 22 }, waters: { fed: 50 x 8 L/h }, injector: { ratio: 1:100, pin: 5, active-low: yes } }
supply: { flow: 1200 L/h }
limits: { min-rest: 0 s }
hardware: { kind: bench }
`

const (
	killFlowLPH = 400
	// killPulseL takes 0.9 s: longer than a start, so that each charge is one pulse.
	killPulseL = 0.1
	killTick   = 50 * time.Millisecond
	// killWithin is how soon a life is killed that no feed is waited for in.
	killWithin = 1800 * time.Millisecond
	// killWorstL is what a pulse gives by its deadline.
	killWorstL = 1.25 * killPulseL
	// killSuctionCM leaves the pots room for a feed and no thirst.
	killSuctionCM = 20
)

func loadKillGarden() (*garden.Garden, error) {
	g, d, err := config.Load("kill.yaml", []byte(killGarden))
	if err != nil {
		return nil, fmt.Errorf("%w: %v", err, d)
	}
	g.Limits.MinRest = 0
	for i := range g.Lines {
		g.Lines[i].DailyCapL = garden.Known(290)
	}
	return g, nil
}

const killEnv = "FABRICPOT_KILL_CHILD"

// TestKillChild is the gateway that is killed; it runs only as a child.
func TestKillChild(t *testing.T) {
	dir := os.Getenv(killEnv)
	if dir == "" {
		t.Skip("only the kill harness runs this")
	}
	ctx, stop := signalContext() // first: a slow start is told to stop too
	defer stop()
	c, err := rpc.Dial("unix", filepath.Join(dir, "world"))
	require.NoError(t, err)
	require.NoError(t, c.Call("World.Hello", struct{}{}, &struct{}{}))
	g, err := loadKillGarden()
	require.NoError(t, err)
	act := map[garden.LineID]valves.Actuator{}
	for i := range g.Lines {
		l := &g.Lines[i]
		act[l.ID] = valves.NewCoil(farPin{c, string(l.ID), false}, l.Valve.ActiveLow)
		if l.Injector.Present() {
			act[l.ID] = valves.WithInjector(act[l.ID], valves.NewCoil(farPin{c, string(l.ID), true}, l.Injector.ActiveLow))
		}
		// As gateway run does: closed before the journal is looked at.
		require.NoError(t, act[l.ID].Close())
	}
	clock, err := journal.BootClock()
	require.NoError(t, err)
	j, aside, err := journal.Open(filepath.Join(dir, "journal.db"), journal.WithClock(clock))
	require.NoError(t, err)
	require.Empty(t, aside)
	keeper := runner.NewKeeper(j)
	plan, _, err := control.NewPlan(g)
	require.NoError(t, err)
	guard, err := valves.NewGuard(g, act, keeper, valves.Options{})
	require.NoError(t, err)
	sampler, err := sensors.NewSampler(g, func(in garden.Input) (sensors.VoltReader, error) {
		return ads1115.New(farBus{c}, in.Addr, sleeper{}, ads1115.Opts{})
	}, sensors.Options{})
	require.NoError(t, err)
	board, err := newLeapClock(os.Getenv(killWallEnv), g.Site.Zone)
	require.NoError(t, err)
	feeds, err := feeding.NewPlan(g, plan)
	require.NoError(t, err)
	loop, err := runner.New(runner.Parts{Feeding: feeds, FeedJournal: keeper.Journal, Garden: g, Plan: plan, State: plan.NewState(), Sampler: sampler, Guard: guard,
		Sky: runner.NewUsualSky(g.Site), Journal: keeper, History: j, SinceBoot: board.SinceBoot()})
	require.NoError(t, err)
	inbox := runner.NewInbox()
	desk := runner.NewDesk(loop, inbox)
	go tellFeed(ctx, loop)
	go func() {
		// After this many crashes it waits for a person's word before it feeds.
		if desk.Ask(ctx, garden.Ask{Kind: garden.AskAutoOn, Who: "test"}) != nil {
			return
		}
		time.Sleep(2 * killTick) // what opens now nobody has asked for
		for n := 0; ; n++ {
			zone := garden.ZoneID([]string{"a", "b"}[n%2])
			if c.Call("World.Asked", string(zone), &struct{}{}) != nil || desk.Ask(ctx, garden.Ask{Kind: garden.AskWater, Zone: zone, Litres: killPulseL, Who: "test"}) != nil {
				return
			}
			time.Sleep(4 * killTick)
		}
	}()
	rep, err := runner.Drive(ctx, loop, inbox, board, killTick, nil)
	require.NoError(t, err)
	require.Empty(t, rep.Unconfirmed)
	require.NoError(t, keeper.Close())
}

func signalContext() (context.Context, context.CancelFunc) {
	ctx, cancel := context.WithCancel(context.Background())
	in := make(chan os.Signal, 1)
	signal.Notify(in, syscall.SIGTERM)
	go func() { <-in; cancel() }()
	return ctx, cancel
}

// TestKilledAtRandom kills the gateway again and again. FABRICPOT_KILLS sets how
// often; fifty otherwise.
func TestKilledAtRandom(t *testing.T) {
	kills := 50
	if testing.Short() {
		kills = 6
	}
	if s := os.Getenv("FABRICPOT_KILLS"); s != "" {
		n, err := strconv.Atoi(s)
		require.NoError(t, err)
		kills = n
	}
	g, err := loadKillGarden()
	require.NoError(t, err)
	// Socket paths have room for about a hundred bytes.
	dir, err := os.MkdirTemp("", "kill")
	require.NoError(t, err)
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	w := newWorld(len(g.Lines) + 1) // one with an injector
	start := time.Date(2026, 7, 1, 8, 0, 0, 0, g.Site.Zone)
	w.soil, err = terrace.New(g, start, terrace.Options{Seed: 1, SupplyDroop: garden.Known(0), EmitterSpread: garden.Known(0), StartSuctionCM: killSuctionCM,
		Weather: []garden.DayWeather{{Date: start, TMinC: garden.Known(18), TMaxC: garden.Known(30)}}})
	require.NoError(t, err)
	w.wires, err = bench.New(g, w.soil, w.clk, bench.Options{Seed: 1})
	require.NoError(t, err)
	tendedKills(t, dir, start)
	server := rpc.NewServer()
	require.NoError(t, server.RegisterName("World", w))
	l, err := net.Listen("unix", filepath.Join(dir, "world"))
	require.NoError(t, err)
	defer l.Close()
	go func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			go server.ServeConn(conn)
		}
	}()

	rng := rand.New(rand.NewPCG(7, uint64(kills)))
	path := filepath.Join(dir, "journal.db")
	var slowest time.Duration
	for n := range kills + 1 {
		child := exec.Command(os.Args[0], "-test.run=^TestKillChild$", "-test.v=false")
		child.Env = append(os.Environ(), killEnv+"="+dir, killWallEnv+"="+w.feedDue(start, n))
		out := &lockedBuffer{}
		child.Stdout, child.Stderr = out, out
		require.NoError(t, child.Start())
		t.Cleanup(func() { _ = child.Process.Kill() })
		require.Eventually(t, func() bool {
			w.mu.Lock()
			defer w.mu.Unlock()
			return w.lives == n+1 && w.took > 0
		}, 20*time.Second, 5*time.Millisecond, "life %d never closed its lines: %s", n, out)
		w.mu.Lock()
		assert.False(t, w.opened, "life %d opened a line before all were closed", n)
		assert.LessOrEqual(t, w.took, time.Second, "life %d closed its lines", n)
		slowest = max(slowest, w.took)
		w.mu.Unlock()

		if ready, within := w.strike(n); ready != nil {
			require.Eventually(t, ready, 20*time.Second, 5*time.Millisecond, "life %d never fed: %s", n, out)
			time.Sleep(time.Duration(rng.Int64N(int64(within))))
		} else {
			time.Sleep(time.Duration(rng.Int64N(int64(killWithin))))
		}
		if n == kills {
			require.NoError(t, child.Process.Signal(syscall.SIGTERM))
			require.NoError(t, child.Wait(), out.String())
			break
		}
		require.NoError(t, child.Process.Kill())
		_ = child.Wait() // killed, as it was meant to be
		w.compare(t, n, path, g)
	}
	for i := range g.Lines {
		assert.False(t, w.wires.Pin(g.Lines[i].ID).Energised(), "line %s after an orderly stop", g.Lines[i].ID)
	}
	assert.False(t, w.wires.InjectorPin(killFed).Energised(), "the injector after an orderly stop")
	w.compare(t, kills, path, g)
	received, over := 0.0, w.tally.overL
	for i := range g.Lines {
		assert.False(t, w.owes[g.Lines[i].ID], "line %s: an intent without an outcome after an orderly stop", g.Lines[i].ID)
		received += w.soil.LineLitres(g.Lines[i].ID)
	}
	t.Logf("%d kills, %d intents left unfinished, %d lines left driven; %d feeds begun, %d of them struck with the injector engaged and %d given whole, with %.3f L of %.1f L at most while a gateway lived; "+
		"%.2f L received, %.2f L on the journal, %.2f L of it charged over what came, %.2f of a pulse at most but for %d by starts slower than a pulse; a start closed its lines within %v of its first instruction at worst",
		kills, w.tally.unfinished, w.tally.open, w.begun, w.feed.struck, w.feed.whole, w.tally.injectedL, killFeedL,
		received, w.tally.saidL, over, w.tally.worstShare, w.tally.slow, slowest.Round(time.Millisecond))
	assert.Positive(t, w.tally.unfinished, "no kill struck a watering: nothing was proved")
	if kills >= 16*killFeedLives { // some four of them are waited for
		assert.Positive(t, w.feed.whole, "no feed was given whole: nothing was proved of its end")
	}
	assert.Positive(t, w.feed.struck, "no kill struck a feed: nothing was proved")
}

type lockedBuffer struct {
	mu sync.Mutex
	b  []byte
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.b = append(l.b, p...)
	return len(p), nil
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return string(l.b)
}

package main

import (
	"context"
	"database/sql"
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
	"fabricpot/control/garden"
	"fabricpot/sensors"
	"fabricpot/sensors/ads1115"
	"fabricpot/sim/bench"
	"fabricpot/sim/terrace"
	"fabricpot/valves"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"
)

// The kill harness keeps a simulated terrace - soil, converters on a bus, output
// pins that stay as they were driven - alive in this process and runs the
// gateway's loop, guard, drivers and journal against it in another, in real time,
// which it kills with SIGKILL at random moments. It proves nothing about a
// kernel's pins or about a card that loses power: processes die here, not boards.

// killGarden is synthetic: lines that give a pulse in a fraction of a second.
const killGarden = `
site: { name: Kills, latitude: 40.64, longitude: 22.94, elevation: 45 m, time-zone: Europe/Athens }
mixes:
  light:
    illustrative: yes
    retention: { model: van-genuchten, theta-r: 10 %, theta-s: 88 %, alpha: 0.15 /cm, n: 1.6, conductivity: 30 cm/h }
    calibration: { method: two-point, points: [ { volts: 2.55 V, water: 10 % }, { volts: 1.35 V, water: 60 % } ] }
pots:
  a: { mix: light, size: 150 L, plants: [ { crop: aubergine, canopy: 0.5 m2 } ], probes: { n: { depth: 12 cm, input: 0x48/0 } } }
  b: { mix: light, size: 150 L, plants: [ { crop: chilli, canopy: 0.5 m2 } ], probes: { n: { depth: 12 cm, input: 0x48/1 } } }
lines:
  a: { valve: { pin: 17 }, waters: { a: 50 x 20 L/h } }
  b: { valve: { pin: 27, active-low: yes }, waters: { b: 50 x 20 L/h } }
supply: { flow: 2000 L/h }
limits: { min-rest: 0 s }
hardware: { kind: bench }
`

const (
	killFlowLPH = 1000
	killPulseL  = 0.1 // 0.36 s
	killTick    = 50 * time.Millisecond
	// killWorstL is what a pulse gives by its deadline.
	killWorstL = 1.25 * killPulseL
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

// World is the terrace's side of the socket.
type World struct {
	mu     sync.Mutex
	began  time.Time
	soil   *terrace.Terrace
	wires  *bench.Bench
	clk    *bench.Clock
	first  map[string]bool // lines a new life has commanded
	lives  int
	opened bool          // a line was energised before all were closed
	took   time.Duration // from the child's first word until all were closed
	hello  time.Time
	lines  int
	said   map[garden.LineID]float64 // by the journal, worst cases included
	left   map[garden.LineID]int     // intents that kills left unfinished
	intent map[garden.LineID]int64   // the one a kill left last
	driven map[garden.LineID]bool    // and whether it left the line driven
	shut   map[garden.LineID]time.Duration
	// owed are lines whose last unfinished intent, of intended, may not be charged
	// yet; idleL is what the lines would have given before the charge, which reckons
	// from the intent to its own moment, while they were closed, L.
	owed     map[garden.LineID]bool
	intended map[garden.LineID]time.Duration
	idleL    map[garden.LineID]float64
	boot0    time.Duration // the board's monotonic clock at began
}

func newWorld(lines int) *World {
	return &World{began: time.Now(), clk: bench.NewClock(0), lines: lines,
		said: map[garden.LineID]float64{}, left: map[garden.LineID]int{}, intent: map[garden.LineID]int64{}, driven: map[garden.LineID]bool{},
		shut: map[garden.LineID]time.Duration{}, owed: map[garden.LineID]bool{}, idleL: map[garden.LineID]float64{},
		intended: map[garden.LineID]time.Duration{}, boot0: runner.NewBoardClock(time.UTC).Moment().Mono}
}

// charged is told that what a line owed is charged by now at the latest.
func (w *World) charged(id garden.LineID) {
	if w.owed[id] {
		// One that a kill struck before its line was driven is idle from its own
		// moment on, not from a close long before.
		w.idleL[id] += killFlowLPH * (w.clk.Now() - max(w.shut[id], w.intended[id])).Hours()
		w.owed[id] = false
	}
}

func (w *World) catchUp() {
	w.clk.RunUntil(time.Since(w.began))
	w.wires.Advance()
}

// Hello is a new life's first word.
func (w *World) Hello(_ struct{}, _ *struct{}) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.first, w.opened, w.hello, w.took = map[string]bool{}, false, time.Now(), 0
	w.lives++
	return nil
}

// PinCall sets a line's pin.
type PinCall struct {
	Line string
	High bool
}

// Out drives a pin.
func (w *World) Out(c PinCall, _ *struct{}) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.catchUp()
	p, id := w.wires.Pin(garden.LineID(c.Line)), garden.LineID(c.Line)
	was := p.Energised()
	err := p.Out(gpio.Level(c.High))
	switch on := p.Energised(); {
	case on && !was:
		w.charged(id) // before the first opening
	case was && !on:
		w.shut[id] = w.clk.Now()
	}
	if p.Energised() && len(w.first) < w.lines {
		w.opened = true
	}
	w.first[c.Line] = true
	if len(w.first) == w.lines && w.took == 0 {
		w.took = time.Since(w.hello)
	}
	return err
}

// BusCall is a transaction on the bus.
type BusCall struct {
	Addr uint16
	W    []byte
	N    int
}

// Tx does a transaction.
func (w *World) Tx(c BusCall, r *[]byte) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.catchUp()
	*r = make([]byte, c.N)
	return w.wires.Bus().Tx(c.Addr, c.W, *r)
}

// farPin and farBus are the child's ends.
type farPin struct {
	c    *rpc.Client
	line string
}

func (p farPin) Out(l gpio.Level) error {
	return p.c.Call("World.Out", PinCall{p.line, bool(l)}, &struct{}{})
}
func (p farPin) String() string                        { return "far pin " + p.line }
func (p farPin) Name() string                          { return p.line }
func (p farPin) Number() int                           { return -1 }
func (p farPin) Function() string                      { return "Out" }
func (p farPin) Halt() error                           { return nil }
func (p farPin) PWM(gpio.Duty, physic.Frequency) error { return fmt.Errorf("no PWM") }

type farBus struct{ c *rpc.Client }

func (b farBus) String() string                  { return "far bus" }
func (b farBus) SetSpeed(physic.Frequency) error { return nil }
func (b farBus) Tx(addr uint16, w, r []byte) error {
	var got []byte
	if err := b.c.Call("World.Tx", BusCall{addr, w, len(r)}, &got); err != nil {
		return err
	}
	copy(r, got)
	return nil
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
		act[l.ID] = valves.NewCoil(farPin{c, string(l.ID)}, l.Valve.ActiveLow)
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
	board := runner.NewBoardClock(g.Site.Zone)
	loop, err := runner.New(runner.Parts{Garden: g, Plan: plan, State: plan.NewState(), Sampler: sampler, Guard: guard,
		Sky: runner.NewUsualSky(g.Site), Journal: keeper, History: j, SinceBoot: board.SinceBoot()})
	require.NoError(t, err)
	inbox := runner.NewInbox()
	desk := runner.NewDesk(loop, inbox)
	go func() {
		for n := 0; ; n++ {
			zone := garden.ZoneID([]string{"a", "b"}[n%2])
			if desk.Ask(ctx, garden.Ask{Kind: garden.AskWater, Zone: zone, Litres: killPulseL, Who: "test"}) != nil {
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
	w := newWorld(len(g.Lines))
	start := time.Date(2026, 7, 1, 8, 0, 0, 0, g.Site.Zone)
	w.soil, err = terrace.New(g, start, terrace.Options{Seed: 1, SupplyDroop: garden.Known(0), EmitterSpread: garden.Known(0),
		Weather: []garden.DayWeather{{Date: start, TMinC: garden.Known(18), TMaxC: garden.Known(30)}}})
	require.NoError(t, err)
	w.wires, err = bench.New(g, w.soil, w.clk, bench.Options{Seed: 1})
	require.NoError(t, err)
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
	var worst time.Duration
	unfinished, open := 0, 0
	for n := range kills + 1 {
		child := exec.Command(os.Args[0], "-test.run=^TestKillChild$", "-test.v=false")
		child.Env = append(os.Environ(), killEnv+"="+dir)
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
		worst = max(worst, w.took)
		w.mu.Unlock()

		time.Sleep(time.Duration(rng.Int64N(int64(900 * time.Millisecond))))
		if n == kills {
			require.NoError(t, child.Process.Signal(syscall.SIGTERM))
			require.NoError(t, child.Wait(), out.String())
			break
		}
		require.NoError(t, child.Process.Kill())
		_ = child.Wait() // killed, as it was meant to be
		u, o := w.compare(t, n, path, g)
		unfinished += u
		open += o
	}
	for i := range g.Lines {
		assert.False(t, w.wires.Pin(g.Lines[i].ID).Energised(), "line %s after an orderly stop", g.Lines[i].ID)
	}
	u, _ := w.compare(t, kills, path, g)
	assert.Zero(t, u, "intents without an outcome after an orderly stop")
	for i := range g.Lines {
		id := g.Lines[i].ID
		assert.LessOrEqual(t, charges(t, path, id), w.left[id], "line %s: more charged than kills left unfinished", id)
		assert.LessOrEqual(t, w.said[id]-w.soil.LineLitres(id), killWorstL*float64(w.left[id])+w.idleL[id]+0.01,
			"line %s: the journal says more than one pulse too much for each intent a kill left", id)
	}
	t.Logf("%d kills, %d intents left unfinished, %d lines left driven; a start closed its lines within %v of its first instruction at worst",
		kills, unfinished, open, worst.Round(time.Millisecond))
	assert.Positive(t, unfinished, "no kill struck a watering: nothing was proved")
}

// compare holds what the terrace received against what the journal says, just
// after a kill and before the next start.
func (w *World) compare(t *testing.T, n int, path string, g *garden.Garden) (unfinished, open int) {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+path+"?mode=ro")
	require.NoError(t, err)
	defer db.Close()
	var verdict string
	if err := db.QueryRow("PRAGMA integrity_check").Scan(&verdict); err != nil && n == 0 {
		return 0, 0 // killed before there was a journal
	}
	require.Equal(t, "ok", verdict)
	w.mu.Lock()
	defer w.mu.Unlock()
	w.catchUp()
	for i := range g.Lines {
		id := g.Lines[i].ID
		var given, pending sql.NullFloat64
		var intent, intended sql.NullInt64
		var left int
		if err := db.QueryRow("SELECT sum(litres) FROM outcomes WHERE line=?", string(id)).Scan(&given); err != nil {
			require.Zero(t, n, "%v", err) // or before its tables were there
			return 0, 0
		}
		require.NoError(t, db.QueryRow("SELECT count(*),sum(max_litres),max(id),max(at_mono) FROM intents WHERE settled=0 AND line=?", string(id)).Scan(&left, &pending, &intent, &intended))
		assert.LessOrEqual(t, left, 1, "line %s has two unfinished intents", id)
		got := w.soil.LineLitres(id)
		said := given.Float64 + pending.Float64
		w.said[id] = said
		// A life that is killed between its first closes and its first charge
		// leaves the intent of the life before, whose line it has closed.
		uncharged := left == 1 && w.intent[id] == intent.Int64
		if !uncharged {
			w.charged(id)
			unfinished += left
			w.left[id] += left
			w.intent[id], w.driven[id], w.owed[id] = intent.Int64, false, left == 1
			w.intended[id] = time.Duration(intended.Int64) - w.boot0
		}
		if w.wires.Pin(id).Energised() {
			open++
			require.Equal(t, 1, left, "line %s is driven and the journal knows of no intent", id)
			w.driven[id] = true
			delete(w.said, id)
			// It runs on until the next start, which charges that time as well.
			continue
		}
		if uncharged && w.driven[id] {
			delete(w.said, id)
			continue // it ran on, and that is still to be charged
		}
		assert.LessOrEqual(t, got, said+0.002, "kill %d, line %s: the terrace got more than the journal knows", n, id)
	}
	return unfinished, open
}

// charges is how many intents that kills left the journal charged to a line.
func charges(t *testing.T, path string, id garden.LineID) (n int) {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+path+"?mode=ro")
	require.NoError(t, err)
	defer db.Close()
	require.NoError(t, db.QueryRow("SELECT count(*) FROM outcomes WHERE line=? AND ending=?", string(id), garden.Unfinished).Scan(&n))
	return n
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

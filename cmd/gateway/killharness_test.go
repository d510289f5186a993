package main

import (
	"math/rand/v2"
	"net"
	"net/http"
	"net/http/httptest"
	"net/rpc"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/control/garden"
	"fabricpot/sim/bench"
	"fabricpot/sim/terrace"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The kill harness keeps a simulated terrace - soil, converters on a bus, output
// pins that stay as they were driven - alive in this process and runs 'gateway run'
// against it in another, in real time, which it kills with SIGKILL at random moments:
// all of it, from main and a garden file to journal, control socket, page, broker and
// messages, but for pins, bus and calendar. It proves nothing about a kernel's pins or
// about a card that loses power: processes die here, not boards.

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
  a: { valve: { pin: 17 }, waters: { a: 50 x 8 L/h }, daily-cap: 290 L }
  b: { valve: { pin: 27, active-low: yes }, waters: { b: 50 x 8 L/h }, daily-cap: 290 L }
  fed: { valve: { pin: 22 }, waters: { fed: 50 x 8 L/h }, daily-cap: 290 L, injector: { ratio: 1:100, pin: 5, active-low: yes } }
supply: { flow: 1200 L/h }
limits: { min-rest: 0 s }
hardware: { kind: board, i2c-bus: /dev/i2c-1, gpio-chip: far away }
broker: { url: embedded, listen: "127.0.0.1:0" }
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

// keepTerrace keeps the terrace of killGarden alive, in a folder with a socket to reach
// it by and the gateway's file, which may name more that hangs on a broker.
func keepTerrace(t *testing.T, file string) (w *World, g *garden.Garden, start time.Time) {
	t.Helper()
	// Socket paths have room for about a hundred bytes.
	dir, err := os.MkdirTemp("", "kill")
	require.NoError(t, err)
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	g, _, err = config.Load("kill.yaml", []byte(killGarden))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "garden.yaml"), []byte(file), 0o600))
	w = newWorld(g, dir)
	start = time.Date(2026, 7, 1, 8, 0, 0, 0, g.Site.Zone)
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
	t.Cleanup(func() { _ = l.Close() })
	go func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			go server.ServeConn(conn)
		}
	}()
	return w, g, start
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
	var messages atomic.Int64
	hook := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { messages.Add(1) }))
	defer hook.Close()
	w, g, start := keepTerrace(t, killGarden+"alarms: { webhooks: [ { post-to: "+hook.URL+" } ] }\n")
	dir := w.dir

	rng := rand.New(rand.NewPCG(7, uint64(kills)))
	path := filepath.Join(dir, "journal.db")
	var took, plain []time.Duration
	plainStart(t, dir) // the first reads the program from the disk
	for n := range kills + 1 {
		plain = append(plain, plainStart(t, dir))
		child := bearLife(t, w, dir, w.feedDue(start, n))
		require.Eventually(t, func() bool {
			w.mu.Lock()
			defer w.mu.Unlock()
			return w.took > 0
		}, 20*time.Second, 5*time.Millisecond, "life %d never closed its lines: %s", n, child.out)
		w.mu.Lock()
		assert.False(t, w.opened, "life %d opened a line before all were closed", n)
		// As it went just now: others come and go on a machine.
		usual := slices.Max(plain[max(0, len(plain)-3):])
		assert.LessOrEqual(t, w.took, max(time.Second, plainStarts*usual), "life %d closed its lines, from the order to start its process, where a plain one takes %v", n, usual)
		took = append(took, w.took)
		w.mu.Unlock()

		if ready, within := w.strike(n); ready != nil {
			require.Eventually(t, ready, 20*time.Second, 5*time.Millisecond, "life %d never fed: %s", n, child.out)
			time.Sleep(time.Duration(rng.Int64N(int64(within))))
		} else {
			time.Sleep(time.Duration(rng.Int64N(int64(killWithin))))
		}
		if n == kills {
			require.NoError(t, child.end(syscall.SIGTERM), child.out.String())
			assert.Contains(t, child.out.String(), "3 of 3 lines confirmed closed\n")
			break
		}
		require.ErrorContains(t, child.end(syscall.SIGKILL), "killed")
		for _, lack := range []string{"the harness could not ask", "the garden is kept without"} {
			require.NotContains(t, child.out.String(), lack, "life %d", n)
		}
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
	slices.Sort(took)
	slices.Sort(plain)
	usual := plain[len(plain)/2]
	t.Logf("%d kills, %d intents left unfinished, %d lines left driven; %d feeds begun, %d of them struck with the injector engaged and %d given whole, with %.3f L of %.1f L at most while a gateway lived; "+
		"%.2f L received, %.2f L on the journal, %.2f L of it charged over what came, %.2f of a pulse at most but for %d by starts slower than a pulse; %d messages; "+
		"from the order to start a process until all lines were closed %.2f times what a process takes that says its version and ends, and %.2f at worst (%v over %v, in the middle of %d)",
		kills, w.tally.unfinished, w.tally.open, w.begun, w.feed.struck, w.feed.whole, w.tally.injectedL, killFeedL,
		received, w.tally.saidL, over, w.tally.worstShare, w.tally.slow, messages.Load(),
		float64(took[len(took)/2])/float64(usual), float64(took[len(took)-1])/float64(usual), took[len(took)-1].Round(time.Millisecond), usual.Round(time.Millisecond), len(plain))
	assert.NotEmpty(t, w.through["a"], "the page waters")
	assert.NotEmpty(t, w.through["b"], "the broker waters")
	assert.NoFileExists(t, filepath.Join(dir, "lines-in-use.json"), "after an orderly stop nothing is left to be closed")
	assert.Positive(t, w.tally.unfinished, "no kill struck a watering: nothing was proved")
	if kills >= 16*killFeedLives { // some four of them are waited for
		assert.Positive(t, w.feed.whole, "no feed was given whole: nothing was proved of its end")
	}
	assert.Positive(t, w.feed.struck, "no kill struck a feed: nothing was proved")
}

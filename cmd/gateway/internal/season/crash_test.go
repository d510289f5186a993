package season

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"
	"fabricpot/sim/bench"
	"fabricpot/sim/terrace"
	"fabricpot/valves"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// crashGarden is synthetic: one pot for each way to water, on a terrace whose
// emitters give exactly what their label says, so that litres can be compared.
const crashGarden = `
site: { name: Crashes, latitude: 40.64, longitude: 22.94, elevation: 45 m, time-zone: Europe/Athens }
mixes:
  light:
    illustrative: yes
    retention: { model: van-genuchten, theta-r: 10 %, theta-s: 88 %, alpha: 0.15 /cm, n: 1.6, conductivity: 30 cm/h }
    calibration:
      method: two-point
      points:
        - { volts: 2.55 V, water: 10 % }
        - { volts: 1.35 V, water: 60 % }
products:
  crystals: { name: Water-soluble 20-10-20, form: soluble, label: 20-10-20, conductivity-per-100-ppm: 0.65 mS/cm, solubility: 300 g/L, brings: [phosphate] }
pots:
  fed:
    mix: light
    size: 75 L
    plants: [ { crop: aubergine, canopy: 0.5 m2 } ]
    feed: { products: [crystals], every: 1 d }
    probes: { shallow: { depth: 12 cm, input: 0x48/0 } }
  plain:
    mix: light
    size: 38 L
    plants: [ { crop: chilli, canopy: 0.4 m2 } ]
    probes: { middle: { depth: 15 cm, input: 0x48/1 } }
lines:
  fed: { valve: { pin: 17 }, waters: { fed: 4 x 2 L/h }, injector: { ratio: 1:100, pin: 5 } }
  plain: { valve: { pin: 27 }, waters: { plain: 3 x 2 L/h } }
supply: { flow: 30 L/h }
hardware: { kind: bench }
`

// ordeal is a way to make the gateway give an order of one kind.
type ordeal struct {
	kind   garden.OrderKind
	line   garden.LineID
	startC float64 // suction at the floor, cm: how dry the pots begin
	span   time.Duration
	// wish is called after Begin of the first life only: a wish is not made
	// again after a crash, but a fault of the terrace stays.
	wish func(*Bench)
}

func ordeals() []ordeal {
	return []ordeal{
		{kind: garden.Irrigate, line: "plain", startC: 60, span: 8 * time.Hour, wish: func(*Bench) {}},
		{kind: garden.Estimated, line: "plain", startC: 60, span: 16 * time.Hour, wish: func(b *Bench) {
			for _, p := range b.Garden.ProbeList() {
				in, _ := b.Wires.Input(p.ID)
				in.Fail(bench.Open, 0)
			}
		}},
		{kind: garden.Survival, line: "plain", startC: 60, span: 12 * time.Hour, wish: func(b *Bench) {
			b.Loop.Ask(b.Moment(), garden.Ask{Kind: garden.AskAutoOff, Who: "test"})
		}},
		{kind: garden.ByHand, line: "plain", startC: 1, span: 4 * time.Hour, wish: func(b *Bench) {
			b.Loop.Ask(b.Moment(), garden.Ask{Kind: garden.AskWater, Zone: "plain", Litres: 2, Who: "test"})
		}},
		{kind: garden.Feeding, line: "fed", startC: 18, span: 12 * time.Hour, wish: func(b *Bench) {
			b.Loop.Ask(b.Moment(), garden.Ask{Kind: garden.AskFeed, Zone: "fed", Who: "test"})
		}},
		{kind: garden.Commission, line: "plain", startC: 1, span: 3 * time.Hour, wish: func(b *Bench) {
			b.Clock.At(b.Clock.Now()+150*time.Second, func() {
				if b.gone {
					return
				}
				id := b.State.NextOrder
				b.State.NextOrder++
				b.Guard.Request(b.Moment(), valves.Env{}, garden.Order{ID: id, Line: "plain", Zone: "plain", Litres: 1, MaxOn: 15 * time.Minute, Kind: garden.Commission})
				b.arm()
			})
		}},
	}
}

// death is how a gateway dies and comes back.
type death struct {
	name    string
	release bool          // the coils fall when it dies
	down    time.Duration // until the next one starts
	reboot  bool          // the monotonic clock starts anew
}

var deaths = []death{
	{name: "killed, outputs stay driven, back at once", down: 2 * time.Second},
	{name: "killed, outputs stay driven, back after forty minutes", down: 40 * time.Minute},
	{name: "power cut, back after two hours on a new clock", release: true, down: 2 * time.Hour, reboot: true},
}

// ran is what came of one terrace.
type ran struct {
	log      []string
	received map[garden.LineID]float64 // through the lines, by the terrace
	fedL     float64                   // while an injector was engaged
	given    []garden.PastDelivery
}

// endure runs an ordeal with a death before effect number at (-1: none).
func endure(t *testing.T, o ordeal, d death, at int) ran {
	t.Helper()
	g := load(t, "crash.yaml", []byte(crashGarden))
	start := time.Date(2026, 7, 1, 5, 0, 0, 0, g.Site.Zone)
	rows := Climate(3, start, 5)
	path := filepath.Join(t.TempDir(), "journal.db")
	opts := Options{Seed: 5, Start: start, Weather: rows, Terrace: terrace.Options{
		StartSuctionCM: o.startC, SupplyDroop: garden.Known(0), EmitterSpread: garden.Known(0)}}

	life := func(m *mortal, clock string, world *Bench, sinceBoot time.Duration) *Bench {
		j, aside, err := journal.Open(path, journal.WithClock(clock))
		require.NoError(t, err)
		require.Empty(t, aside, "the journal was damaged")
		// Closed at the end of the test only: a killed process checkpoints nothing.
		t.Cleanup(func() { _ = j.Close() })
		opts := opts
		opts.World, opts.SinceBoot = world, sinceBoot
		opts.Journal, opts.History, opts.Coil = &mortalKeeper{Keeper: runner.NewKeeper(j), m: m}, j, m.coil
		b, err := NewBench(g, opts)
		require.NoError(t, err)
		return b
	}
	tended(t, path, start)
	first := &mortal{at: at}
	b := life(first, "boot one", nil, 0)
	require.NoError(t, b.Begin())
	o.wish(b)
	for end := o.span; !first.dead && b.Clock.Now() < end; {
		if next, ok := b.Clock.Next(); !ok || next > end {
			b.RunTo(end)
			break
		}
		b.Clock.Step()
	}
	last := b
	if at >= 0 {
		require.True(t, first.dead, "the effect it should die before never came")
		b.Die(d.release)
		b.Clock.RunUntil(b.Clock.Now() + d.down)
		b.Wires.Advance()
		clock, up := "boot one", b.Clock.Now()
		if d.reboot {
			clock, up = "boot two", 40*time.Second
		}
		back := b.Clock.Now()
		second := &mortal{at: -1}
		last = life(second, clock, b, up)
		require.NoError(t, last.Begin())
		assert.LessOrEqual(t, b.Clock.Now()-back, time.Second, "lines closed within a second")
		for i := range g.Lines {
			assert.False(t, b.Wires.Pin(g.Lines[i].ID).Energised(), "line %s after the start", g.Lines[i].ID)
			assert.Contains(t, second.log[:min(len(second.log), 3)], fmt.Sprintf("pin %s/%d Low", g.Lines[i].ID, g.Lines[i].Valve.Pin),
				"closing comes before anything else")
		}
		last.RunTo(o.span + d.down)
	}
	rep := last.End()
	require.Empty(t, rep.Unconfirmed)

	r := ran{log: first.log, received: map[garden.LineID]float64{}}
	for i := range g.Lines {
		l := &g.Lines[i]
		assert.False(t, b.Wires.Pin(l.ID).Energised(), "line %s left open", l.ID)
		r.received[l.ID] = b.Terrace.LineLitres(l.ID)
		if dose := b.Wires.InjectorPin(l.ID); dose != nil {
			assert.False(t, dose.Energised())
			r.fedL += l.FlowLPH() * engaged(dose.History()).Hours()
		}
	}
	j, aside, err := journal.Open(path, journal.WithClock("reader"))
	require.NoError(t, err)
	require.Empty(t, aside)
	defer j.Close()
	left, err := j.Unfinished()
	require.NoError(t, err)
	assert.Empty(t, left, "an intent without an outcome")
	r.given, err = j.DeliveriesSince(start.Add(-time.Hour))
	require.NoError(t, err)
	return r
}

// tended writes that the garden has been looked after for weeks, so that a feed
// is due.
func tended(t *testing.T, path string, start time.Time) {
	j, _, err := journal.Open(path, journal.WithClock("long ago"))
	require.NoError(t, err)
	defer j.Close()
	require.NoError(t, j.KeepLedgers([]feeding.Snapshot{{Zone: "fed", At: start.Add(-2 * time.Hour), Began: start.AddDate(0, 0, -40)}}))
}

func engaged(h []bench.PinEvent) (d time.Duration) {
	var from time.Duration
	on := false
	for _, e := range h {
		switch {
		case e.Energised && !on:
			on, from = true, e.At
		case !e.Energised && on:
			on = false
			d += e.At - from
		}
	}
	return d
}

// account sums what the journal says went through a line.
func (r ran) account(line garden.LineID) (litres float64) {
	for _, d := range r.given {
		if d.Line == line {
			litres += d.Litres
		}
	}
	return litres
}

// cuts picks the effects to die before: everything from just before the first
// intent of the kind until after its outcome, but of the ticks in between a few.
func cuts(t *testing.T, log []string, kind garden.OrderKind) []int {
	from, to, id := -1, -1, ""
	for i, s := range log {
		f := strings.Fields(s)
		switch {
		case from < 0 && f[0] == "intend" && strings.HasSuffix(s, " "+kind.String()):
			from, id = i, f[1]
		case id != "" && s == "settle "+id:
			to = i
		}
	}
	if from < 0 {
		t.Fatalf("no order of the kind was given in %d effects", len(log))
	}
	require.Greater(t, to, from)
	var at []int
	ticks := 0
	for i := max(0, from-3); i <= min(len(log)-1, to+3); i++ {
		if log[i] == "tick" {
			if ticks++; ticks%7 != 2 {
				continue
			}
		}
		at = append(at, i)
	}
	return at
}

// TestCrashAtEveryStep kills the gateway at every step between journal and coil,
// for every kind of order, and starts another on the same journal and terrace.
func TestCrashAtEveryStep(t *testing.T) {
	died := 0
	for _, o := range ordeals() {
		t.Run(o.kind.String(), func(t *testing.T) {
			whole := endure(t, o, death{}, -1)
			for line, l := range whole.received {
				assert.InDelta(t, l, whole.account(line), 0.005, "an undisturbed run's account of line %s", line)
			}
			var pulse float64
			for _, d := range whole.given {
				pulse = max(pulse, d.Litres)
			}
			for i, d := range deaths {
				for k, at := range cuts(t, whole.log, o.kind) {
					if testing.Short() && (i+k)%3 != 0 {
						continue // each kind of death at other steps
					}
					died++
					t.Run(fmt.Sprintf("%s/before %d %s", d.name, at, whole.log[at]), func(t *testing.T) {
						r := endure(t, o, d, at)
						require.Equal(t, whole.log[:at], r.log, "the same seed must do the same until it dies")
						for line, got := range r.received {
							said := r.account(line)
							assert.LessOrEqual(t, got, said+1e-6, "line %s gave more than the journal knows", line)
							// What the journal says too much is the one pulse that was
							// cut off, or what an open line could have given meanwhile.
							slack := 1.3 * pulse
							if !d.release && d.down > time.Minute {
								slack += 8 * (d.down + 30*time.Minute).Hours()
							}
							assert.LessOrEqual(t, said-got, slack+1e-6, "line %s", line)
							if d.release || d.down < time.Minute {
								assert.LessOrEqual(t, got, whole.received[line]+pulse+0.01, "line %s: a pulse was given twice", line)
							}
						}
						held := 0.0
						if !d.release {
							held = 8 * d.down.Hours()
						}
						assert.LessOrEqual(t, r.fedL, whole.fedL+held+0.01, "a feed was repeated")
						if o.kind == garden.ByHand {
							assert.LessOrEqual(t, r.received["plain"], 2+6*d.down.Hours()+0.01, "a person's wish was carried out twice")
						}
					})
				}
			}
		})
	}
	t.Logf("%d deaths", died)
}

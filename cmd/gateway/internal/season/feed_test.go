package season

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/feed"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"
	"fabricpot/sim/terrace"
	"fabricpot/sim/terrace/column"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// feedLog notes, day by day, when each zone's last feed began.
type feedLog struct {
	b     *Bench
	times map[garden.ZoneID][]time.Time
	every map[garden.ZoneID]float64
	held  map[garden.ZoneID]map[int]float64 // days that pot or weather kept feed number k back
}

func newFeedLog(b *Bench) *feedLog {
	return &feedLog{b: b, times: map[garden.ZoneID][]time.Time{}, every: map[garden.ZoneID]float64{}, held: map[garden.ZoneID]map[int]float64{}}
}

func (l *feedLog) day() {
	book := l.b.Loop.Feeds()
	for _, z := range book.List(l.b.Moment().Wall).Zones {
		if !z.Fed {
			continue
		}
		k := len(l.times[z.Zone])
		if l.held[z.Zone] == nil {
			l.held[z.Zone] = map[int]float64{}
		}
		l.held[z.Zone][k] = max(l.held[z.Zone][k], z.WaitedDays)
		l.every[z.Zone] = z.Due.IntervalDays
		t := l.times[z.Zone]
		if z.Last != nil && (len(t) == 0 || !t[len(t)-1].Equal(*z.Last)) {
			l.times[z.Zone] = append(t, *z.Last)
		}
	}
}

// keepsThemFed holds a season against what the feeding promises. The weather is
// measured; the terrace, its mixes and the simulator's nitrogen are our own
// invention, so the band is judgement. One pot is fed by its injector, the
// others by a gardener who comes every evening.
func keepsThemFed(t *testing.T, res Result, b *Bench, start time.Time, log *feedLog) {
	const firstDays, late = 35.0, 2.0
	for i, z := range res.Zones {
		_, fed := log.every[garden.ZoneID(z.Name)]
		n := b.Terrace.Nitrogen(i)
		assert.Less(t, n.MassErrorG, 1e-9, "%s: nitrogen", z.Name)
		if !fed {
			assert.Zero(t, z.NAppliedG, z.Name)
			continue
		}
		before, wait := start, max(firstDays, log.every[garden.ZoneID(z.Name)])
		longest := 0.0
		for k, at := range append(log.times[garden.ZoneID(z.Name)], b.Moment().Wall) {
			gap := at.Sub(before).Hours() / 24
			assert.LessOrEqual(t, gap, wait+late+log.held[garden.ZoneID(z.Name)][k], "%s: days before feed %d", z.Name, k+1)
			if k > 0 && k < len(log.times[garden.ZoneID(z.Name)]) {
				assert.GreaterOrEqual(t, gap, feed.MinGap.Hours()/24, "%s: days before feed %d", z.Name, k+1)
				longest = max(longest, gap)
			}
			before, wait = at, log.every[garden.ZoneID(z.Name)]
		}
		t.Logf("%s: %d feeds, the longest gap %.1f days, the last interval %.0f", z.Name, len(log.times[garden.ZoneID(z.Name)]), longest, wait)
		// In band: never stronger than the strongest feed allowed, and never so weak
		// that a plant which could take it up goes short.
		assert.LessOrEqual(t, z.NMgLMost, float64(feed.MaxNPPM), "%s: mg/L", z.Name)
		assert.GreaterOrEqual(t, z.NMgLLeast, 2.0, "%s: mg/L", z.Name)
		assert.GreaterOrEqual(t, z.NUsedG, 0.85*z.NWantedG, "%s: nitrogen used of what plenty would have given", z.Name)
	}
}

// flushedInto is what flushes gave a zone, its own and those of a pot on the same
// line: that water is meant to drain.
func flushedInto(b *Bench, id garden.ZoneID) (litres float64) {
	_, z, _ := b.Garden.Zone(id)
	line, ok := b.Garden.Line(z.Line)
	if !ok {
		return 0
	}
	for _, o := range line.Outlets {
		if v, ok := b.Loop.Feeds().Zone(o.Zone); ok {
			litres += v.FlushedL * line.ShareOf(id) / line.ShareOf(o.Zone)
		}
	}
	return litres
}

// feedGarden is one pot whose feed is several pulses, on emitters that give what
// their label says.
const feedGarden = `
site: { name: Feeds, latitude: 40.64, longitude: 22.94, elevation: 45 m, time-zone: Europe/Athens }
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
  crystals: { form: soluble, label: 20-10-20 }
pots:
  fed:
    mix: light
    size: 75 L
    plants: [ { crop: aubergine, canopy: 0.5 m2 } ]
    feed: { products: [crystals], every: 5 d, dose: 6 L, strength: 100 ppm }
    leaching: 0 %
    probes: { shallow: { depth: 12 cm, input: 0x48/0 }, deep: { depth: 36 cm, input: 0x48/1 } }
lines:
  fed: { valve: { pin: 17 }, waters: { fed: 4 x 2 L/h }, injector: { ratio: 1:100, pin: 5 } }
supply: { flow: 30 L/h }
hardware: { kind: bench }
`

// tendedFor writes that the garden has been looked after for weeks, so that a
// feed is due.
func tendedFor(t *testing.T, path string, start time.Time) {
	j, _, err := journal.Open(path, journal.WithClock("long ago"))
	require.NoError(t, err)
	defer j.Close()
	require.NoError(t, j.KeepLedgers([]feeding.Snapshot{{Zone: "fed", At: start.Add(-2 * time.Hour), Began: start.AddDate(0, 0, -40)}}))
}

// fedLife runs the garden for some days, killed at the given time (0: never) and
// started again on the same journal after down.
func fedLife(t *testing.T, kill, down time.Duration) (appliedG float64, steps []feed.Record) {
	t.Helper()
	g := load(t, "feeds.yaml", []byte(feedGarden))
	start := time.Date(2026, 7, 1, 5, 0, 0, 0, g.Site.Zone)
	path := filepath.Join(t.TempDir(), "journal.db")
	const span = 40 * time.Hour
	tendedFor(t, path, start)
	life := func(world *Bench, clock string) *Bench {
		j, aside, err := journal.Open(path, journal.WithClock(clock))
		require.NoError(t, err)
		require.Empty(t, aside)
		t.Cleanup(func() { _ = j.Close() })
		b, err := NewBench(g, Options{
			Seed: 5, Start: start, Weather: Climate(3, start, 12), World: world, Journal: runner.NewKeeper(j), History: j,
			Terrace: terrace.Options{StartSuctionCM: 20, SupplyDroop: garden.Known(0), EmitterSpread: garden.Known(0)},
		})
		require.NoError(t, err)
		require.NoError(t, b.Begin())
		return b
	}
	b := life(nil, "one")
	if kill > 0 {
		b.RunTo(kill)
		b.Die(true)
		b.Clock.RunUntil(kill + down)
		b.Wires.Advance()
		b = life(b, "two")
	}
	b.RunTo(span)
	require.Empty(t, b.End().Unconfirmed)
	j, _, err := journal.Open(path, journal.WithClock("reader"))
	require.NoError(t, err)
	defer j.Close()
	steps, err = j.FeedSteps(g.Site.Zone)
	require.NoError(t, err)
	return b.Terrace.Nitrogen(0).AppliedG, steps
}

// TestFeedOnceWhateverDies kills the gateway all along a feed of several pulses
// and its soak, in the pulses and between them. The pot gets one feed and no
// drop more, as the pins and the simulated pot saw it.
func TestFeedOnceWhateverDies(t *testing.T) {
	whole, steps := fedLife(t, 0, 0)
	require.NotEmpty(t, steps)
	var begun, ended time.Time
	var pulses, feeds int
	for _, s := range steps {
		switch s.Kind {
		case feed.Begun:
			begun = s.At
			feeds++
		case feed.PulseIntended:
			pulses++
		case feed.Ended:
			ended = s.At
		}
	}
	require.Equal(t, 1, feeds, "forty hours hold one feed")
	require.GreaterOrEqual(t, pulses, 2)
	// 6 L at 100 mg/L.
	assert.InDelta(t, 0.6, whole, 0.01, "an undisturbed feed, g N")
	t.Logf("%d pulses in %v, %.3f g N", pulses, ended.Sub(begun), whole)

	start := time.Date(2026, 7, 1, 5, 0, 0, 0, begun.Location())
	from, to := begun.Sub(start)-time.Minute, ended.Sub(start)+2*time.Minute
	least := whole
	runs := 0
	downs := []time.Duration{2 * time.Second, 30 * time.Minute, 8 * time.Hour}
	for at := from; at <= to; at += 13 * time.Minute {
		down := downs[runs%len(downs)]
		got, steps := fedLife(t, at, down)
		runs++
		least = min(least, got)
		assert.LessOrEqual(t, got, 0.6+0.01, "killed %v after its beginning, away %v: more than one feed", at-from, down)
		n := 0
		for _, s := range steps {
			if s.Kind == feed.Begun {
				n++
			}
		}
		assert.Equal(t, 1, n, "killed %v after its beginning, away %v: feeds begun", at-from, down)
	}
	t.Logf("%d lives ended; the least a pot got was %.3f g N", runs, least)
	assert.Positive(t, least, "a pot that was left without any feed")
}

// weakGarden is the same pot, fed with every watering.
var weakGarden = strings.NewReplacer(
	"every: 5 d, dose: 6 L, strength: 100 ppm", "every-watering: 50 ppm",
	"supply: { flow: 30 L/h }", "supply: { flow: 30 L/h, conductivity: 0.5 mS/cm }",
	"leaching: 0 %", "leaching: 10 %",
).Replace(feedGarden)

// TestFedWithEveryWatering waters a pot for eight weeks with weak feed in every
// watering, killed in the middle of waterings time and again. What the pins let
// through is on the record, to the gram, and no more than the week's cap; the
// root zone keeps its nitrogen, and is flushed when salts have built up.
func TestFedWithEveryWatering(t *testing.T) {
	if testing.Short() {
		t.Skip("eight weeks")
	}
	g := load(t, "weak.yaml", []byte(weakGarden))
	start := time.Date(2026, 6, 1, 5, 0, 0, 0, g.Site.Zone)
	path := filepath.Join(t.TempDir(), "journal.db")
	tendedFor(t, path, start)
	life := func(world *Bench, clock string) *Bench {
		j, _, err := journal.Open(path, journal.WithClock(clock))
		require.NoError(t, err)
		t.Cleanup(func() { _ = j.Close() })
		b, err := NewBench(g, Options{
			Seed: 5, Start: start, Weather: Climate(3, start, 70), World: world, Journal: runner.NewKeeper(j), History: j,
			Terrace: terrace.Options{Solutes: []column.Solute{{Name: "salts of the water, mS/cm", Water: 0.5, Start: 0.5}}, StartSuctionCM: 20, SupplyDroop: garden.Known(0), EmitterSpread: garden.Known(0)},
		})
		require.NoError(t, err)
		require.NoError(t, b.Begin())
		return b
	}
	const days = 56
	b := life(nil, "0")
	killed, waterings := 0, 0
	var since time.Duration
	was := false
	least, most := 1e9, 0.0
	var early terrace.NitrogenTotals
	for m := time.Duration(0); m < days*24*time.Hour; m += time.Minute {
		b.RunTo(m)
		if early.WantedG == 0 && m >= 14*24*time.Hour {
			early = b.Terrace.Nitrogen(0)
		}
		if n := b.Terrace.Nitrogen(0).MgL; m > 14*24*time.Hour && m%(24*time.Hour) == 0 {
			least, most = min(least, n), max(most, n)
		}
		// Every seventh watering dies in its middle.
		if on := b.Wires.InjectorPin("fed").Energised(); on != was {
			if was = on; on {
				since = m
				waterings++
			}
		}
		if was && waterings%7 == 0 && m-since >= 5*time.Minute {
			killed++
			was = false
			b.Die(true)
			b.Clock.RunUntil(m + 20*time.Minute)
			b.Wires.Advance()
			b = life(b, fmt.Sprint(killed))
			m += 20 * time.Minute
		}
	}
	require.Empty(t, b.End().Unconfirmed)
	assert.Positive(t, killed)
	j, _, err := journal.Open(path, journal.WithClock("reader"))
	require.NoError(t, err)
	defer j.Close()
	steps, err := j.FeedSteps(g.Site.Zone)
	require.NoError(t, err)
	var intended, entered, flushed float64
	var doses []feed.Record
	for _, s := range steps {
		switch s.Kind {
		case feed.DoseIntended:
			intended += s.Grams().N
		case feed.DoseSettled:
			entered += s.Grams().N
			doses = append(doses, s)
		case feed.FlushSettled:
			flushed += s.Litres
		case feed.Begun:
			t.Error("a feed at intervals besides")
		}
	}
	n := b.Terrace.Nitrogen(0)
	assert.Less(t, n.MassErrorG, 1e-9)
	assert.LessOrEqual(t, n.AppliedG, entered*1.001, "more flowed than is on the record")
	assert.LessOrEqual(t, entered, intended*1.001)
	assert.Greater(t, n.AppliedG, 0.8*entered, "only what died in the middle is charged without having flowed")
	cap, err := feed.WeakCapNG(75)
	require.NoError(t, err)
	for i, d := range doses {
		sum := 0.0
		for _, e := range doses[i:] {
			if e.At.Sub(d.At) <= feed.CapWindow {
				sum += e.Grams().N
			}
		}
		assert.LessOrEqual(t, sum, cap*(1+1e-9))
	}
	assert.GreaterOrEqual(t, least, 5.0, "mg/L")
	assert.LessOrEqual(t, most, float64(feed.MaxNPPM), "mg/L")
	assert.GreaterOrEqual(t, n.UsedG-early.UsedG, 0.85*(n.WantedG-early.WantedG), "from the third week on; the pot began with nothing")
	// The account of salts against the simulated ones: the water's own, which the
	// plant refuses, and those of the feed, which it takes with the nitrogen.
	v, ok := b.Loop.Feeds().Zone("fed")
	require.True(t, ok)
	require.NotNil(t, v.SaltMS)
	held := float64(b.Plan.Zones()[0].Capacity) * 75
	truth := (b.Terrace.SoluteLoad(0, 0) + n.PoolG*10*feed.UsualSlope) / held
	assert.InDelta(t, 1, *v.SaltMS/truth, 0.35, "account %.2f mS/cm, simulated %.2f", *v.SaltMS, truth)
	t.Logf("salts at capacity: %.2f mS/cm by the account, %.2f simulated", *v.SaltMS, truth)
	t.Logf("%d waterings with feed, %d of them killed; N applied %.2f g (on the record %.2f), used %.2f of %.2f, leached %.2f; %.0f to %.0f mg/L; %.0f L of flushes",
		len(doses), killed, n.AppliedG, entered, n.UsedG, n.WantedG, n.LeachedG, least, most, flushed)
}

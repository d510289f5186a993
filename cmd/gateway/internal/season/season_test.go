package season

import (
	"bytes"
	"cmp"
	"context"
	"os"
	"slices"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/control/garden"
	"fabricpot/control/weather"
	"fabricpot/sim/terrace"
	"fabricpot/testdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const weatherDir = "../../../../testdata/weather/"

func load(t testing.TB, name string, src []byte) *garden.Garden {
	t.Helper()
	g, _, err := config.Load(name, src)
	require.NoError(t, err)
	return g
}

func days(t testing.TB, file string, zone *time.Location) []garden.DayWeather {
	t.Helper()
	f, err := os.Open(weatherDir + file)
	require.NoError(t, err)
	defer f.Close()
	rows, _, err := weather.ReadDaily(f, file, zone)
	require.NoError(t, err)
	return rows
}

// TestSummerOfMeasuredWeather is the main job on measured weather: Seattle,
// 1 May to 30 September 2014, from the data set named in
// testdata/weather/README.md (US government data). The terrace is our demo.
func TestSummerOfMeasuredWeather(t *testing.T) {
	if testing.Short() {
		t.Skip("a whole season")
	}
	g := load(t, "terrace.yaml", testdata.Terrace)
	for seed := uint64(1); seed <= 2; seed++ {
		start := time.Date(2014, 5, 1, 0, 0, 0, 0, g.Site.Zone)
		b, err := NewBench(g, Options{
			Seed: seed, Start: start, Weather: days(t, "seattle-weather.csv", g.Site.Zone),
			Terrace: terrace.DefaultOptions(seed, nil),
		})
		require.NoError(t, err)
		limits := watchLimits(t, b)
		log := newFeedLog(b)
		res, err := b.Season(context.Background(), 153, log.day)
		require.NoError(t, err)
		limits.check()
		logTable(t, res)
		keepsItsPots(t, res, b)
		keepsThemFed(t, res, b, start, log)
	}
}

// keepsItsPots holds a season against what a grower is promised.
func keepsItsPots(t *testing.T, res Result, b *Bench) {
	hours := b.Clock.Now().Hours()
	var passed float64
	for i, z := range res.Zones {
		tot := b.Terrace.Totals(i)
		passed += tot.AppliedL + tot.RainL
		// Every litre is somewhere.
		out := z.DrainedL + z.TranspiredL + z.EvaporatedL + z.StoredChangeL
		assert.InDelta(t, z.AppliedL+z.RainL, out, 1e-6, "%s: litres", z.Name)
		if z.HandTended {
			continue
		}
		assert.LessOrEqual(t, z.LostShare(), 0.01, "%s: transpiration lost", z.Name)
		assert.LessOrEqual(t, z.HoursStressed, 0.02*hours, "%s: stressed hours", z.Name)
		assert.LessOrEqual(t, z.HoursSaturated, 0.02*hours, "%s: saturated hours", z.Name)
		flushed := flushedInto(b, garden.ZoneID(z.Name))
		assert.LessOrEqual(t, flushed, 0.2*z.AppliedL, "%s: flushed", z.Name)
		drains := 0.15
		line, _ := b.Garden.Line(b.Plan.Zones()[i].Line)
		for _, o := range line.Outlets {
			if string(o.Zone) != z.Name && b.Plan.WashesByNeed(o.Zone) {
				drains = 0.25 // what washes another pot of the line runs through this one too
			}
		}
		assert.Less(t, z.DrainedIrrigationL, drains*z.AppliedL+flushed, "%s: irrigation drained", z.Name)
		assert.Greater(t, z.Pulses, 0, "%s was never watered", z.Name)
	}
	assert.Less(t, res.MassBalanceErrorL, 1e-9*max(1, passed), "mass balance, of the water that passed")
}

// TestHeatSpell is synthetic: grown plants on windy paving at 38 °C and a
// reference evapotranspiration of 7 mm or more, in which a pot empties within
// a day.
func TestHeatSpell(t *testing.T) {
	g := load(t, "heatwave.yaml", testdata.Heatwave)
	rows := days(t, "synthetic-heat-spell.csv", g.Site.Zone)

	// That it empties: with nobody watering, the smaller pot loses what lies
	// between capacity and its lower limit within the hottest day.
	dry, err := terrace.New(g, rows[5].Date, terrace.Options{Seed: 1, Weather: rows})
	require.NoError(t, err)
	dry.Advance(24 * time.Hour)
	assert.GreaterOrEqual(t, dry.EToMM(), 7.0)
	b, err := NewBench(g, Options{Seed: 1, Start: rows[0].Date, Weather: rows, Terrace: terrace.DefaultOptions(1, nil)})
	require.NoError(t, err)
	assert.LessOrEqual(t, dry.MeanWater(0), float64(b.Plan.Zones()[0].LowerLimit)+0.02, "the pot was meant to empty")
	day := dry.Totals(0)
	dry.Advance(44 * time.Hour)
	next := dry.Totals(0)
	assert.Less(t, next.TranspiredL-day.TranspiredL, 0.5*(next.PotentialTranspirationL-day.PotentialTranspirationL),
		"and the plant to go thirsty the next day")

	limits := watchLimits(t, b)
	res, err := b.Season(context.Background(), len(rows), nil)
	require.NoError(t, err)
	limits.check()
	logTable(t, res)
	keepsItsPots(t, res, b)
}

// TestOneSeedOneSeason: the same seed gives the same result to the last byte.
func TestOneSeedOneSeason(t *testing.T) {
	g := load(t, "terrace.yaml", testdata.Terrace)
	rows := days(t, "seattle-weather.csv", g.Site.Zone)
	once := func(seed uint64) []byte {
		start := time.Date(2014, 7, 1, 0, 0, 0, 0, g.Site.Zone)
		b, err := NewBench(g, Options{Seed: seed, Start: start, Weather: rows, Terrace: terrace.DefaultOptions(seed, nil)})
		require.NoError(t, err)
		res, err := b.Season(context.Background(), 7, nil)
		require.NoError(t, err)
		res.Speed = 0 // the one figure that depends on the machine
		var out bytes.Buffer
		require.NoError(t, res.WriteJSON(&out))
		return out.Bytes()
	}
	assert.Equal(t, once(3), once(3))
	assert.NotEqual(t, once(3), once(4))
}

func logTable(t *testing.T, res Result) {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, res.WriteTable(&out))
	t.Log("\n" + out.String())
}

// limitWatch proves from the pins, not from anybody's account, that nothing was
// opened beyond its limits.
type limitWatch struct {
	t *testing.T
	b *Bench
}

func watchLimits(t *testing.T, b *Bench) *limitWatch { return &limitWatch{t, b} }

func (w *limitWatch) check() {
	w.t.Helper()
	type change struct {
		at   time.Duration
		flow float64
	}
	var all []change
	for i := range w.b.Garden.Lines {
		l := &w.b.Garden.Lines[i]
		most := w.b.Garden.Limits.MaxOn
		if l.MaxOn > 0 {
			most = min(most, l.MaxOn)
		}
		var opened time.Duration
		open := false
		for _, e := range w.b.Wires.Pin(l.ID).History() {
			switch {
			case e.Energised && !open:
				open, opened = true, e.At
				all = append(all, change{e.At, l.FlowLPH()})
			case !e.Energised && open:
				open = false
				all = append(all, change{e.At, -l.FlowLPH()})
				require.LessOrEqual(w.t, e.At-opened, most, "line %s was open too long", l.ID)
			}
		}
		require.False(w.t, open, "line %s was left open", l.ID)
	}
	// Closes before openings of the same instant.
	slices.SortFunc(all, func(a, b change) int {
		return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.flow, b.flow))
	})
	flow := 0.0
	for _, c := range all {
		flow += c.flow
		require.LessOrEqual(w.t, flow, w.b.Garden.Supply.FlowLPH+1e-9, "more lines open than the supply carries")
	}
}

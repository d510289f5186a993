package policy

import (
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A pot of 20 L on a line of 4 L/h that really gives 5, and another on its own.
func facts(days int, loss func(day int) float64) Facts {
	g := &garden.Garden{
		Limits: garden.DefaultLimits(),
		Mixes: []garden.Mix{{ID: "m", Calibration: garden.Calibration{Kind: garden.TwoPoint,
			Points: []garden.CalibrationPoint{{Volts: 2.5, Water: 0.1}, {Volts: 1.3, Water: 0.6}}}}},
		Pots: []garden.Pot{
			{ID: "a", Mix: "m", VolumeL: 20, Zones: []garden.Zone{{ID: "a", Share: 1, Line: "a", Probes: []garden.Probe{{ID: "a-p", Zone: "a"}}}}},
			{ID: "b", Mix: "m", VolumeL: 30, Zones: []garden.Zone{{ID: "b", Share: 1, Line: "b"}}},
		},
		Lines: []garden.Line{
			{ID: "a", Outlets: []garden.Outlet{{Zone: "a", Emitters: 2, FlowLPH: 2}}},
			{ID: "b", Outlets: []garden.Outlet{{Zone: "b", Emitters: 2, FlowLPH: 2}}},
		},
	}
	series := func(f float64) []float64 {
		v := make([]float64, days)
		for d := range v {
			v[d] = f * loss(d)
		}
		return v
	}
	// 30 May 2022 is a Monday.
	return NewFacts(g, time.Date(2022, 5, 30, 0, 0, 0, 0, time.UTC),
		[][]float64{series(1), series(2)}, [][]float64{series(0.8), series(2)}, []float64{5, 4})
}

func (f Facts) at(day int, hour time.Duration) garden.Moment {
	mono := time.Duration(day)*24*time.Hour + hour
	return garden.Moment{Mono: mono, Wall: f.Start.Add(mono), Synced: true}
}

func step(p Policy, s Sight) Orders {
	var out Orders
	if s.DrainedL == nil {
		s.DrainedL = make([]float64, 2)
	}
	if s.HungHours == nil {
		s.HungHours = make([]float64, 2)
	}
	p.Step(&s, &out)
	return out
}

func rivalOf(t *testing.T, name string, f Facts) Policy {
	t.Helper()
	p, ok := New(name, f)
	require.True(t, ok, name)
	return p
}

func TestEveryRivalCanBeMade(t *testing.T) {
	f := facts(30, func(int) float64 { return 1 })
	for _, name := range Names() {
		_, ok := New(name, f)
		assert.Equal(t, name != Gateway && name != Ideal, ok, name)
	}
	_, ok := New("nobody", f)
	assert.False(t, ok)
}

func TestTimersAreSetByTheirWeek(t *testing.T) {
	// A litre a day, three in the second week.
	f := facts(62, func(d int) float64 {
		if d >= 7 && d < 14 {
			return 3
		}
		return 1
	})
	minutes := func(name string, day int) time.Duration {
		p := rivalOf(t, name, f)
		out := step(p, Sight{Now: f.at(day, 7*time.Hour)})
		require.NotEmpty(t, out.Water, name)
		assert.InDelta(t, 4*out.Water[0].MaxOn.Hours(), out.Water[0].Litres, 1e-9, "the order is the line's rated flow for that long")
		return out.Water[0].MaxOn
	}
	assert.Equal(t, 36*time.Minute, minutes(HottestWeek, 20), "3 L at the 5 L/h that really come")
	assert.Equal(t, 15*time.Minute, minutes(MeanWeek, 20), "76 L in 62 days")
	assert.Equal(t, 18*time.Minute, minutes(Monthly, 20), "June's mean: 44 L in 30 days, in whole minutes")
	assert.Equal(t, 12*time.Minute, minutes(Monthly, 40), "July takes a litre a day")
	assert.Equal(t, 18*time.Minute, minutes(MonthlyBook, 20), "the tables say 0.8 of it, and 4 L/h")
}

func TestTimerWaitsItsTurn(t *testing.T) {
	f := facts(30, func(int) float64 { return 1 })
	p := rivalOf(t, HottestWeek, f)
	assert.Empty(t, step(p, Sight{Now: f.at(0, 5*time.Hour)}).Water, "before six")
	require.Len(t, step(p, Sight{Now: f.at(0, 6*time.Hour)}).Water, 2)
	assert.Empty(t, step(p, Sight{Now: f.at(0, 6*time.Hour+time.Minute)}).Water, "both are running")
	out := step(p, Sight{Now: f.at(0, 6*time.Hour+5*time.Minute),
		Refused:   []garden.Refusal{{Line: "b", Cause: garden.SupplyBusy}},
		Delivered: []garden.Delivery{{Line: "a", Open: 5 * time.Minute}}})
	require.Len(t, out.Water, 2)
	assert.Equal(t, 7*time.Minute, out.Water[0].MaxOn, "what was cut short goes on")
	assert.Equal(t, 30*time.Minute, out.Water[1].MaxOn, "what was refused is asked again")
	out = step(p, Sight{Now: f.at(0, 7*time.Hour), Delivered: []garden.Delivery{{Line: "a", Open: 7 * time.Minute}, {Line: "b", Open: 30 * time.Minute}}})
	assert.Empty(t, out.Water)
	assert.Len(t, step(p, Sight{Now: f.at(1, 6*time.Hour)}).Water, 2, "the next morning")
}

func TestRainStop(t *testing.T) {
	f := facts(30, func(int) float64 { return 1 })
	p := rivalOf(t, RainStop, f)
	step(p, Sight{Now: f.at(0, 3*time.Hour), RainMM: 4})
	step(p, Sight{Now: f.at(0, 4*time.Hour), RainMM: 3})
	assert.Empty(t, step(p, Sight{Now: f.at(0, 6*time.Hour)}).Water, "7 mm in the last day")
	assert.NotEmpty(t, step(p, Sight{Now: f.at(1, 6*time.Hour)}).Water, "the rain is over a day old")
}

func TestMoistureSwitch(t *testing.T) {
	f := facts(30, func(int) float64 { return 1 })
	at := func(v garden.Volts, q garden.Quality) Sight {
		return Sight{Now: f.at(0, time.Hour), Readings: []garden.Reading{{Probe: "a-p", Zone: "a", Volts: v, Quality: q}}}
	}
	p := rivalOf(t, OneSwitch, f)
	assert.True(t, Probes(p))
	assert.Empty(t, step(p, at(1.6, garden.Good)).Water, "the wet mark")
	// 2.4 V per m³/m³: 0.08 drier is 0.192 V more.
	assert.Empty(t, step(p, at(1.79, garden.Good)).Water)
	out := step(p, at(1.80, garden.Good))
	require.Len(t, out.Water, 1)
	assert.Equal(t, garden.LineID("a"), out.Water[0].Line)
	assert.Empty(t, step(p, at(1.65, garden.Good)).Stop, "not yet as wet as the mark")
	assert.Equal(t, []garden.LineID{"a"}, step(p, at(1.59, garden.Good)).Stop)
	s := at(3.3, garden.Bad)
	s.Delivered = []garden.Delivery{{Line: "a"}}
	assert.Len(t, step(p, s).Water, 1, "an unplugged probe is a dry one")
}

func TestByHandForgets(t *testing.T) {
	f := facts(28, func(int) float64 { return 1 })
	p := rivalOf(t, ByHand, f)
	assert.True(t, Person(p))
	var days []int
	for d := range 28 {
		assert.Empty(t, step(p, Sight{Now: f.at(d, 12*time.Hour)}).Pour)
		if out := step(p, Sight{Now: f.at(d, 19*time.Hour)}); len(out.Pour) > 0 {
			days = append(days, d)
			assert.Equal(t, Pour{Zone: 0, Litres: 2}, out.Pour[0], "two days' loss")
		}
	}
	// Every second day from a Monday, no Saturday or Sunday (5, 6 of a week),
	// nobody there from day 14 to 20.
	assert.Equal(t, []int{0, 2, 4, 8, 10, 22, 24}, days)
}

func TestCarefulGrowerLearnsTheCan(t *testing.T) {
	f := facts(30, func(int) float64 { return 1 })
	p := rivalOf(t, Careful, f)
	pour := func(day int, drained, hung float64) float64 {
		out := step(p, Sight{Now: f.at(day, 8*time.Hour), DrainedL: []float64{drained, 0}, HungHours: []float64{hung, 0}})
		require.Len(t, out.Pour, 2)
		return out.Pour[0].Litres
	}
	first := pour(0, 0, 0)
	assert.InDelta(t, 1, first, 1e-9)
	more := pour(1, 0, 0)
	assert.Greater(t, more, first, "nothing came out")
	same := pour(2, 0.05, 0)
	assert.InDelta(t, more, same, 1e-9, "a little came out")
	assert.Less(t, pour(3, 0.55, 0), same, "much came out")
	assert.Greater(t, pour(4, 1.05, 5), same, "much came out, yet the plants hung")
}

func TestFeedingByCalendar(t *testing.T) {
	f := facts(60, func(int) float64 { return 1 })
	meals := []Meal{{Litres: 1.5, NMgL: 100, EveryDays: 7}, {}}
	days := func(name string) (out []int) {
		p := Fed(rivalOf(t, name, f), f, meals)
		for d := range 60 {
			for _, o := range step(p, Sight{Now: f.at(d, 19*time.Hour+time.Minute)}).Pour {
				if o.NMgL > 0 {
					assert.Equal(t, Pour{0, 1.5, 100}, o)
					out = append(out, d)
				}
			}
		}
		return out
	}
	assert.Equal(t, []int{21, 28, 35, 42, 49, 56}, days(HottestWeek))
	assert.Equal(t, []int{21, 28, 42, 49}, days(ByHand), "every third is forgotten")
	assert.True(t, Person(Fed(rivalOf(t, Careful, f), f, meals)))
	assert.True(t, Probes(Fed(rivalOf(t, OneSwitch, f), f, meals)))
}

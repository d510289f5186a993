package feed

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fabricpot/control/garden"
)

func TestContainerDose(t *testing.T) {
	// Common practice, no source: 4 L for 75 L, 8 L for 380 L.
	for _, c := range []struct{ pot, dose float64 }{{75, 4}, {380, 8}} {
		d, err := ContainerDose(c.pot)
		require.NoError(t, err)
		assert.InDelta(t, c.dose, d, 1e-12)
	}
	t.Run("smooth, rising, flattening and never drowning", func(t *testing.T) {
		rapid.Check(t, func(t *rapid.T) {
			v := rapid.Float64Range(1, 1000).Draw(t, "litres")
			a, _ := ContainerDose(v)
			b, _ := ContainerDose(1.01 * v)
			c, _ := ContainerDose(1.02 * v)
			assert.Greater(t, b, a)
			assert.Greater(t, b-a, c-b, "concave")
			assert.Less(t, a/v, 0.0857)
		})
	})
	for _, v := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		_, err := ContainerDose(v)
		assert.Error(t, err)
	}
}

func TestPortion(t *testing.T) {
	tomato, ok := HungerOf("Tomato")
	require.True(t, ok)
	p, err := PortionFor(garden.FeedPlan{}, 75, tomato, Middle)
	require.NoError(t, err)
	assert.InDelta(t, 4, p.Litres, 1e-9)
	assert.Equal(t, 112.5, p.NPPM)
	assert.True(t, p.Weak)
	p, err = PortionFor(garden.FeedPlan{FullStrength: true, Secondary: true}, 75, tomato, Middle)
	require.NoError(t, err)
	assert.InDelta(t, 2, p.Litres, 1e-9, "common practice: 2 L for a secondary plant")
	// Common practice, no source: 200 to 250 ppm N every 5 to 7 days in fruit.
	assert.GreaterOrEqual(t, p.NPPM, 200.0)
	assert.LessOrEqual(t, p.NPPM, 250.0)
	assert.LessOrEqual(t, tomato.Habit.IntervalDays(Middle), 7.0)
	assert.GreaterOrEqual(t, tomato.Habit.IntervalDays(Middle), 5.0)

	for name, plan := range map[string]garden.FeedPlan{
		"dose over the limit":     {DoseL: garden.Known(9.1)},
		"negative dose":           {DoseL: garden.Known(-1)},
		"strength over the limit": {NPPM: garden.Known(301)},
		"no strength":             {NPPM: garden.Known(0)},
		"negative strength":       {NPPM: garden.Known(-5)},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := PortionFor(plan, 75, tomato, Middle)
			require.ErrorContains(t, err, "feed: ")
		})
	}
	t.Run("every crop and stage in every pot is within the limits", func(t *testing.T) {
		for _, h := range Hungers() {
			for s := Initial; s <= Late; s++ {
				for _, v := range []float64{1, 20, 75, 150, 400} {
					_, err := PortionFor(garden.FeedPlan{FullStrength: true}, v, h, s)
					assert.NoError(t, err, "%s %s %v", h.Crop, s, v)
				}
			}
		}
	})
}

// Computed from Hegde 1997 (READ: 2.5–3 kg N, 0.2–0.3 kg P, 3–3.5 kg K per
// tonne of fruit): 4 kg of tomatoes take 10–12 g N, 0.8–1.2 g P, 12–14 g K.
func TestSeasonUptake(t *testing.T) {
	h, _ := HungerOf("tomato")
	lengths := [4]int{30, 40, 45, 30}
	var sum NPK
	var peak Stage
	var most float64
	for d := range 145 {
		s, _ := StageAt(float64(d), lengths)
		u := DailyUptake(h, 4, s, lengths, garden.Measured{})
		sum = sum.Add(u)
		if u.N > most {
			most, peak = u.N, s
		}
	}
	assert.True(t, sum.N > 10 && sum.N < 12, "%v", sum)
	assert.True(t, sum.P > 0.8 && sum.P < 1.2, "%v", sum)
	assert.True(t, sum.K > 12 && sum.K < 14, "%v", sum)
	// Hegde 1997 (READ): highest from flowering to just before ripening.
	assert.Equal(t, Middle, peak)
	hot := DailyUptake(h, 4, Middle, lengths, garden.Known(1.5))
	usual := DailyUptake(h, 4, Middle, lengths, garden.Known(1))
	assert.InDelta(t, 1.5, hot.N/usual.N, 1e-12)
	// The mean day's, as many times as there are days, is the season's as well.
	mean := MeanUptake(h, 4, lengths, garden.Measured{})
	assert.InDelta(t, sum.N, 145*mean.N, 1e-9)
	assert.InDelta(t, sum.K, 145*mean.K, 1e-9)
	assert.InDelta(t, 1.5, MeanUptake(h, 4, lengths, garden.Known(1.5)).N/mean.N, 1e-12)
	assert.InDelta(t, sum.N/120, MeanUptake(h, 4, [4]int{}, garden.Measured{}).N, 1e-9, "30 days a stage where nobody knows")
	assert.Zero(t, MeanUptake(h, -1, lengths, garden.Measured{}))
}

func TestStageAt(t *testing.T) {
	l := [4]int{30, 40, 45, 30}
	for _, c := range []struct {
		days float64
		want Stage
	}{{-5, Initial}, {math.NaN(), Initial}, {29.9, Initial}, {30, Development}, {69.9, Development}, {70, Middle}, {115, Late}, {900, Late}} {
		got, frac := StageAt(c.days, l)
		assert.Equal(t, c.want, got, "%v", c.days)
		assert.True(t, frac >= 0 && frac <= 1)
	}
}

// Mass of N, P and K balances whatever happens in whatever order.
func TestLedgerBalances(t *testing.T) {
	amount := rapid.Float64Range(0, 40)
	rapid.Check(t, func(t *rapid.T) {
		l, err := NewLedger(NPK{amount.Draw(t, "n"), amount.Draw(t, "p"), amount.Draw(t, "k")}, rapid.Float64Range(1, 90).Draw(t, "release"))
		require.NoError(t, err)
		for range rapid.IntRange(1, 400).Draw(t, "steps") {
			switch rapid.IntRange(0, 2).Draw(t, "what") {
			case 0:
				require.NoError(t, l.Feed(NPK{amount.Draw(t, "fn"), amount.Draw(t, "fp"), amount.Draw(t, "fk")}))
			case 1:
				_, err = l.Pass(rapid.Float64Range(0, 3).Draw(t, "days"), NPK{amount.Draw(t, "dn"), 0.1, 2})
				require.NoError(t, err)
			case 2:
				_, err = l.Leach(rapid.Float64Range(0, 60).Draw(t, "drained"), rapid.Float64Range(1, 60).Draw(t, "held"))
				require.NoError(t, err)
			}
			for _, v := range []NPK{l.Pool, l.Reserve, l.Taken, l.Leached} {
				require.True(t, v.Valid(), "%+v", l)
			}
		}
		im := l.Imbalance()
		assert.InDelta(t, 0, im.N, 1e-9)
		assert.InDelta(t, 0, im.P, 1e-9)
		assert.InDelta(t, 0, im.K, 1e-9)
	})
}

func TestLedgerFigures(t *testing.T) {
	m := &garden.Mix{StarterNmgL: 140, StarterPmgL: 60, StarterKmgL: 120}
	l, err := NewLedger(StarterCharge(m, 75), 0)
	require.NoError(t, err)
	assert.InDelta(t, 10.5, l.Starter.N, 1e-12)
	for range StarterDays {
		_, err = l.Pass(1, NPK{})
		require.NoError(t, err)
	}
	assert.InDelta(t, 0, l.Reserve.N, 1e-9, "a charge is spent in three to five weeks")
	assert.InDelta(t, 10.5, l.Pool.N, 1e-9)
	// One pore volume through a well-mixed zone leaves 1/e.
	_, err = l.Leach(30, 30)
	require.NoError(t, err)
	assert.InDelta(t, 10.5/math.E, l.Pool.N, 1e-9)

	t.Run("days left", func(t *testing.T) {
		l, _ := NewLedger(NPK{}, 0)
		require.NoError(t, l.Feed(NPK{N: 1}))
		assert.InDelta(t, 10, l.DaysOfN(0.1, 0), 1e-9)
		assert.Less(t, l.DaysOfN(0.1, 0.05), 10.0)
		assert.Equal(t, 60.0, l.DaysOfN(0, 0))
		assert.Equal(t, 60.0, l.DaysOfN(math.NaN(), 0))
		fresh, _ := NewLedger(NPK{N: 2.8}, 28)
		assert.InDelta(t, 28, fresh.DaysOfN(0.1, 0), 1e-6, "0.1 g a day for as long as it is released")
	})
	t.Run("refuses what is no amount", func(t *testing.T) {
		assert.Error(t, l.Feed(NPK{N: -1}))
		assert.Error(t, l.Feed(NPK{K: math.NaN()}))
		_, err := l.Pass(-1, NPK{})
		assert.Error(t, err)
		_, err = l.Leach(1, 0)
		assert.Error(t, err)
		_, err = NewLedger(NPK{N: math.Inf(1)}, 0)
		assert.Error(t, err)
	})
}

func TestSalts(t *testing.T) {
	t.Run("leaching fraction as published", func(t *testing.T) {
		// UF/IFAS ENH1268 (READ): LF = leachate over what entered; ET/(1-LF).
		lf, err := LeachedShare(0.3, 2)
		require.NoError(t, err)
		assert.InDelta(t, 0.15, lf, 1e-12)
		i, err := IrrigationFor(1.7, 0.15)
		require.NoError(t, err)
		assert.InDelta(t, 2.0, i, 1e-12)
	})
	t.Run("flush does what it promises", func(t *testing.T) {
		l, err := FlushLitres(5, 2, 0.5, 40)
		require.NoError(t, err)
		s := Salts{Load: 5 * 40}
		// Small sips, each entering and pushing out as much.
		for range 20000 {
			require.NoError(t, s.Enter(l/20000, 0.5))
			_, err := s.Leach(l/20000, 40)
			require.NoError(t, err)
		}
		ec, err := s.EC(40)
		require.NoError(t, err)
		assert.InDelta(t, 2, ec, 2e-3)
		_, err = FlushLitres(5, 0.4, 0.5, 40)
		assert.ErrorContains(t, err, "rain water")
	})
	t.Run("account balances and a reading wins", func(t *testing.T) {
		rapid.Check(t, func(t *rapid.T) {
			var s Salts
			for range rapid.IntRange(1, 200).Draw(t, "steps") {
				v := rapid.Float64Range(0, 10).Draw(t, "v")
				switch rapid.IntRange(0, 3).Draw(t, "what") {
				case 0:
					require.NoError(t, s.Enter(v, 1.7))
				case 1:
					_, err := s.Leach(v, 30)
					require.NoError(t, err)
				case 2:
					require.NoError(t, s.Uptake(v/10, 0.6))
				case 3:
					require.NoError(t, s.Read(v, 30))
					ec, _ := s.EC(30)
					assert.InDelta(t, v, ec, 1e-9)
				}
				assert.GreaterOrEqual(t, s.Load, 0.0)
			}
			assert.InDelta(t, 0, s.Imbalance(), 1e-9)
		})
	})
	t.Run("when to leach", func(t *testing.T) {
		// From memory: drainage over feed by 1.0–1.5 mS/cm, or over 4.6.
		k := garden.Known
		assert.True(t, MustLeach(k(4.7), garden.Measured{}))
		assert.True(t, MustLeach(k(3.3), k(1.7)))
		assert.False(t, MustLeach(k(3.1), k(1.7)))
		assert.False(t, MustLeach(garden.Measured{}, k(1.7)))
	})
	lf, err := LeachingFraction(0.6, 3)
	require.NoError(t, err)
	assert.InDelta(t, 0.2, lf, 1e-12)
	assert.Greater(t, ReadingDoubt(0, 1), ReadingDoubt(24*time.Hour, 1))
	assert.InDelta(t, 1, ReadingDoubt(14*24*time.Hour, 1), 1e-4)
}

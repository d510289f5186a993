package calibrate_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"fabricpot/control/garden"
	"fabricpot/control/medium"
	"fabricpot/sensors"
	"fabricpot/sensors/calibrate"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestByWeight(t *testing.T) {
	c := calibrate.Container{TareG: 300, DryG: 450, VolumeL: 3}
	rows := func(grams ...float64) (out []calibrate.Weighing) {
		for i, g := range grams {
			out = append(out, calibrate.Weighing{GrossG: g, Volts: garden.Volts(1.2 + 0.1*float64(i))})
		}
		return out
	}
	// 2250 g gross: 2250 - 300 - 450 = 1500 g of water in 3 L is one half; 900 g
	// gross is 150 g, one twentieth.
	ps, err := calibrate.ByWeight(c, rows(2250, 1800, 900))
	require.NoError(t, err)
	for i, want := range []float64{0.5, 0.35, 0.05} {
		assert.InDelta(t, want, float64(ps[i].Water), 1e-12)
	}
	for name, k := range map[string]struct {
		c    calibrate.Container
		rows []calibrate.Weighing
		want string
	}{
		"weights rise while drying":  {c, rows(2250, 1800, 1900, 900), "weighing 3: 1900 g is more than the 1800 g of weighing 2"},
		"tare over gross":            {calibrate.Container{TareG: 3000, DryG: 450, VolumeL: 3}, rows(2250, 1800), "not over the tare of 3000 g"},
		"dry mix over net":           {c, rows(2250, 700), "weighing 2: weight 700 g is under tare and dry mix together"},
		"more water than room":       {calibrate.Container{TareG: 300, DryG: 450, VolumeL: 1}, rows(2250), "check volume and dry weight"},
		"tare left in the dry mix":   {calibrate.Container{TareG: 0, DryG: 9000, VolumeL: 3}, rows(2250), "is the tare still in it"},
		"no volume":                  {calibrate.Container{TareG: 300, DryG: 450}, rows(2250), "0 L of mix"},
		"weight that is no number":   {c, rows(math.NaN()), "expected a number"},
		"volume that is no number":   {calibrate.Container{TareG: 300, DryG: 450, VolumeL: math.NaN()}, rows(2250), "NaN L"},
		"dry mass that is no number": {calibrate.Container{TareG: 300, DryG: math.NaN(), VolumeL: 3}, rows(2250), "dry mix NaN g"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := calibrate.ByWeight(k.c, k.rows)
			require.ErrorContains(t, err, k.want)
		})
	}
	_, err = calibrate.ByWeight(c, rows(2250, 1800, 1808))
	assert.NoError(t, err, "a step of the scale is no rise")
}

func TestBucket(t *testing.T) {
	ps, err := calibrate.Bucket{MixL: 10, StartL: 0.4}.Points([]calibrate.Pour{{AddedL: 0, Volts: 2.5}, {AddedL: 1.6, Volts: 2}, {AddedL: 3, Volts: 1.5}})
	require.NoError(t, err)
	for i, want := range []float64{0.04, 0.2, 0.5} {
		assert.InDelta(t, want, float64(ps[i].Water), 1e-12)
	}
	_, err = calibrate.Bucket{MixL: 10}.Points([]calibrate.Pour{{AddedL: 11}})
	assert.ErrorContains(t, err, "stand in water")
	_, err = calibrate.Bucket{MixL: 10}.Points([]calibrate.Pour{{AddedL: math.Inf(1)}})
	assert.ErrorContains(t, err, "step 1")
	_, err = calibrate.Bucket{MixL: 10, StartL: math.NaN()}.Points(nil)
	assert.ErrorContains(t, err, "at the start")
}

func pts(vw ...float64) (out []calibrate.Point) {
	for i := 0; i < len(vw); i += 2 {
		out = append(out, calibrate.Point{Volts: garden.Volts(vw[i]), Water: garden.WaterFraction(vw[i+1])})
	}
	return out
}

func TestChooseRefuses(t *testing.T) {
	for name, k := range map[string]struct {
		points []calibrate.Point
		is     error
		want   string
	}{
		"nothing":                   {nil, calibrate.ErrTooFew, "0, expected 2"},
		"one point":                 {pts(2, 0.3), calibrate.ErrTooFew, "1, expected 2"},
		"too little water":          {pts(2, 0.3, 1.8, 0.35, 1.6, 0.38), calibrate.ErrTooNarrow, "water from 0.300 to 0.380"},
		"a probe in the air":        {pts(2.61, 0.1, 2.60, 0.3, 2.59, 0.5), calibrate.ErrTooNarrow, "is the probe in the mix"},
		"turning back":              {pts(2.5, 0.05, 2.2, 0.3, 2.0, 0.2, 1.5, 0.55), calibrate.ErrNotMonotone, "from 2 V to 2.2 V water goes from 0.200 to 0.300"},
		"two points at one reading": {pts(2.5, 0.05, 2.0, 0.2, 2.0, 0.35, 1.5, 0.55), calibrate.ErrNotMonotone, "two points at one reading, 2 V"},
		"percent":                   {pts(2.5, 5, 1.5, 55), nil, "35 % is 0.35"},
		"not a number":              {pts(2.5, 0.05, math.NaN(), 0.3), nil, "point 2: NaN V"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := calibrate.Choose(k.points)
			require.ErrorContains(t, err, k.want)
			if k.is != nil {
				assert.ErrorIs(t, err, k.is)
			}
		})
	}
}

func TestChooseTwoPoints(t *testing.T) {
	f, err := calibrate.Choose(pts(2.5, 0.05, 1.4, 0.6))
	require.NoError(t, err)
	assert.Equal(t, garden.TwoPoint, f.Kind)
	assert.False(t, f.RMSE.Known, "two points cannot judge themselves")
	assert.Contains(t, strings.Join(f.Warnings, " "), "a third in the middle")
}

func TestChooseTellsTheWidestGap(t *testing.T) {
	f, err := calibrate.Choose(pts(2.5, 0.05, 2.4, 0.1, 1.6, 0.5, 1.5, 0.55))
	require.NoError(t, err)
	assert.InDelta(t, 0.1, f.GapFrom, 1e-12)
	assert.InDelta(t, 0.5, f.GapTo, 1e-12)
	assert.Contains(t, strings.Join(f.Warnings, " "), "between water 0.10 and 0.50")
}

// A probe with two straight parts is none of the plain families: interpolation
// must be taken then.
func TestChooseInterpolatesAKnee(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	var points []calibrate.Point
	for i := range 24 {
		v := 1.2 + 1.4*float64(i)/23
		w := 0.7 - 0.9*(v-1.2)
		if v > 1.8 {
			w = 0.16 - 0.12*(v-1.8)
		}
		points = append(points, calibrate.Point{Volts: garden.Volts(v), Water: garden.WaterFraction(w + 0.002*rng.NormFloat64())})
	}
	f, err := calibrate.Choose(points)
	require.NoError(t, err)
	assert.Equal(t, garden.Interpolated, f.Kind)
	_, err = sensors.NewCurve(f.Calibration)
	assert.NoError(t, err)
}

// Three invented probes of one shape, 0.03 apart, each with its own points: the
// offsets come out, and with them the shape.
func TestProbesShareAShape(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	true_ := map[garden.ProbeID]float64{"a": -0.03, "b": 0, "c": 0.03}
	var points []calibrate.Point
	for _, id := range []garden.ProbeID{"a", "b", "c"} {
		for i := range 10 {
			v := 1.3 + 0.11*float64(i)
			points = append(points, calibrate.Point{Probe: id, Volts: garden.Volts(v), Water: garden.WaterFraction(1.1 - 0.42*v + true_[id] + 0.003*rng.NormFloat64())})
		}
	}
	f, err := calibrate.Choose(points)
	require.NoError(t, err)
	assert.Equal(t, garden.LeastSquares, f.Kind)
	for id, want := range true_ {
		assert.InDelta(t, want, f.Calibration.ProbeOffsets[id], 0.004, "probe %s", id)
	}
	assert.Less(t, f.RMSE.Value, 0.004)
	for i := range points {
		if points[i].Probe == "c" {
			points[i].Water = max(0, points[i].Water-0.3)
		}
	}
	_, err = calibrate.Choose(points)
	assert.ErrorIs(t, err, calibrate.ErrProbesDiffer)
}

// Two frusta of an illustrative peat-perlite curve: where the small one holds
// just what the curve says, the pot does too; where it holds more, so does the
// pot, in proportion.
func TestCarryCapacity(t *testing.T) {
	c, err := medium.NewCurve(garden.Retention{Model: garden.VanGenuchten, ThetaR: 0.1, ThetaS: 0.88, AlphaPerCM: 0.15, N: 1.6})
	require.NoError(t, err)
	small := garden.Shape{HeightCM: 15, BottomDiameterCM: 16, TopDiameterCM: 16}
	pot := garden.Shape{HeightCM: 45, BottomDiameterCM: 46, TopDiameterCM: 46}
	inSmall, err := medium.Capacity(c, small)
	require.NoError(t, err)
	inPot, err := medium.Capacity(c, pot)
	require.NoError(t, err)
	require.Less(t, inPot, inSmall-0.1, "a high pot drains further")
	got, err := calibrate.CarryCapacity(garden.WaterFraction(inSmall), c, small, pot)
	require.NoError(t, err)
	assert.InDelta(t, inPot, float64(got.Capacity), 1e-12)
	assert.Empty(t, got.Warning)
	got, err = calibrate.CarryCapacity(garden.WaterFraction(0.1+0.9*(inSmall-0.1)), c, small, pot)
	require.NoError(t, err)
	assert.InDelta(t, 0.1+0.9*(inPot-0.1), float64(got.Capacity), 1e-12)
	got, err = calibrate.CarryCapacity(garden.WaterFraction(0.1+0.6*(inSmall-0.1)), c, small, pot)
	require.NoError(t, err)
	assert.Contains(t, got.Warning, "60 %")
	_, err = calibrate.CarryCapacity(0.09, c, small, pot)
	assert.ErrorContains(t, err, "residual")
}

func TestReanchor(t *testing.T) {
	good := garden.Reading{Water: 0.36, Quality: garden.Good}
	a, err := calibrate.Reanchor("p", 0.01, good, 0.40)
	require.NoError(t, err)
	assert.InDelta(t, 0.05, a.After, 1e-12)
	assert.Equal(t, 0.01, a.Undo().After, "reversible")
	same, err := calibrate.Reanchor("p", 0.01, good, 0.362)
	require.NoError(t, err)
	assert.Equal(t, same.Before, same.After)
	for name, k := range map[string]struct {
		offset   float64
		read     garden.Reading
		expected garden.WaterFraction
	}{
		"too far at once":  {0, good, 0.46},
		"too far together": {0.12, good, 0.42},
		"a bad reading":    {0, garden.Reading{Water: 0.36}, 0.40},
		"not a number":     {math.NaN(), good, 0.4},
		"no water":         {0, good, 0},
	} {
		t.Run(name, func(t *testing.T) {
			a, err := calibrate.Reanchor("p", k.offset, k.read, k.expected)
			require.ErrorIs(t, err, calibrate.ErrAnchor)
			if garden.Finite(k.offset) {
				assert.Equal(t, k.offset, a.After, "a refusal changes nothing")
			}
		})
	}
}

// nights makes invented nights: 9 h, cooling fast first and slower later, with
// a steady loss and the effect of temperature.
func nights(n int, perC, noise float64, seed uint64) (out []calibrate.Night) {
	rng := rand.New(rand.NewPCG(seed, 3))
	for d := range n {
		level, from := 0.35+0.02*rng.NormFloat64(), 22+2*rng.NormFloat64()
		var night calibrate.Night
		for i := range 54 {
			h := float64(i) / 6
			temp := from - 6*(1-math.Exp(-h/3)) + 0.05*rng.NormFloat64()
			w := level - 0.0008*h + perC*(temp-20) + noise*rng.NormFloat64()
			night = append(night, calibrate.NightSample{At: time.Unix(int64(d)*86400+int64(h*3600), 0), Water: garden.WaterFraction(w), TempC: temp})
		}
		out = append(out, night)
	}
	return out
}

func TestLearnTemperature(t *testing.T) {
	for _, want := range []float64{-0.0012, 0.002, -0.003} {
		c, err := calibrate.LearnTemperature(nights(10, want, 0.0005, 1))
		require.NoError(t, err)
		assert.InDelta(t, want, c.PerC, 4*c.StdErr+1e-5)
		assert.InDelta(t, want, c.PerC, 0.0004)
	}
	for name, ns := range map[string][]calibrate.Night{
		"no effect":        nights(10, 0, 0.0005, 2),
		"too few nights":   nights(3, -0.002, 0.0005, 3),
		"an absurd effect": nights(10, -0.05, 0.0005, 4),
		"all noise":        nights(6, -0.0005, 0.02, 5),
		"nothing":          nil,
	} {
		t.Run(name, func(t *testing.T) {
			_, err := calibrate.LearnTemperature(ns)
			assert.ErrorIs(t, err, calibrate.ErrNoCoefficient)
		})
	}
}

func TestMoved(t *testing.T) {
	w := calibrate.Moved([]calibrate.Answer{
		{Probe: "a", Watered: true, Change: 0.001, Noise: 0.002}, {Probe: "b", Change: 0.08, Noise: 0.002}, {Probe: "c", Change: -0.001},
	})
	assert.True(t, w.Swapped())
	assert.Contains(t, w.String(), "a did not answer to their line while b")
	w = calibrate.Moved([]calibrate.Answer{{Probe: "a", Watered: true, Change: 0.05}, {Probe: "b", Change: 0.002}})
	assert.False(t, w.Swapped())
	assert.Equal(t, "every probe answered to its line and no other did", w.String())
}

func TestReadTable(t *testing.T) {
	kind, rows, err := calibrate.ReadTable(strings.NewReader("# dried in May\nprobe,volts,weight,temperature\na,1.25,2200,21\nb,1.31,2150,\n"), "f")
	require.NoError(t, err)
	assert.Equal(t, calibrate.TableWeight, kind)
	assert.Equal(t, []calibrate.Row{{Probe: "a", Volts: 1.25, Value: 2200, TempC: garden.Known(21)}, {Probe: "b", Volts: 1.31, Value: 2150}}, rows)
	kind, rows, err = calibrate.ReadTable(strings.NewReader("2.5,0.1\n1.4,0.6\n"), "f")
	require.NoError(t, err)
	assert.Equal(t, calibrate.TableWater, kind)
	assert.Len(t, rows, 2)
	for src, want := range map[string]string{
		"":                                "f:1:1: no rows",
		"volts,weight\n":                  "no rows under",
		"volts,wieght\n1,2\n":             `f:1:7: unknown column "wieght"`,
		"volts,water,weight\n1,0.2,300\n": "columns water and weight",
		"water,probe\n0.2,a\n":            "no column volts",
		"volts,probe\n1,a\n":              "no column water, weight or added",
		"volts,weight\n1.2\n":             "f:2:1: 1 columns, expected 2",
		"volts,weight\n1.2,x\n":           `f:2:5: "x", expected a number`,
		"volts,weight\n9,100\n":           "volts 9, expected 0 to 5.5",
		"volts,water\n1,35\n":             "water 35, expected 0 to 1",
		"volts,water,probe\n1,0.3,A b\n":  "expected a probe's name",
		"volts;water\n1;2\n":              "f:1:1",
	} {
		t.Run(fmt.Sprintf("%q", src), func(t *testing.T) {
			_, _, err := calibrate.ReadTable(strings.NewReader(src), "f")
			require.ErrorContains(t, err, want)
		})
	}
}

func FuzzReadTable(f *testing.F) {
	f.Add("volts,weight\n1.2,2000\n1.3,1900\n")
	f.Add("2.5,0.1\n1.4,0.6\n")
	f.Add("probe,volts,added,temperature\na,2.5,0,20\n")
	f.Fuzz(func(t *testing.T, src string) {
		_, rows, err := calibrate.ReadTable(strings.NewReader(src), "f")
		if err == nil && len(rows) == 0 {
			t.Fatal("no rows and no error")
		}
		for _, r := range rows {
			if !garden.Finite(float64(r.Volts)) || !garden.Finite(r.Value) {
				t.Fatal("a number that is none")
			}
		}
	})
}

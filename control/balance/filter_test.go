package balance

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// The textbook Kalman equations in matrices, by gonum, against our scalars.
func TestFilterIsTheTextbookFilter(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		f := NewFilter(0.5, 0.05, 1, 0.2)
		x := mat.NewVecDense(2, []float64{0.5, 1})
		p := mat.NewDense(2, 2, []float64{0.0025, 0, 0, 0.04})
		for range 20 {
			loss := rapid.Float64Range(0, 0.01).Draw(rt, "loss")
			gain := rapid.Float64Range(0, 0.01).Draw(rt, "gain")
			q := rapid.Float64Range(1e-7, 1e-5).Draw(rt, "q")
			f.Predict(loss, gain, q, 0)
			F := mat.NewDense(2, 2, []float64{1, -loss, 0, 1})
			var fx mat.VecDense
			fx.MulVec(F, x)
			x.SetVec(0, fx.AtVec(0)+gain)
			x.SetVec(1, fx.AtVec(1))
			var fp, fpf mat.Dense
			fp.Mul(F, p)
			fpf.Mul(&fp, F.T())
			p.Copy(&fpf)
			p.Set(0, 0, p.At(0, 0)+q)

			z := rapid.Float64Range(0.45, 0.55).Draw(rt, "z")
			sd := rapid.Float64Range(0.02, 0.2).Draw(rt, "sd")
			f.Update(z, sd)
			s := p.At(0, 0) + sd*sd
			k := mat.NewVecDense(2, []float64{p.At(0, 0) / s, p.At(1, 0) / s})
			x.AddScaledVec(x, z-x.AtVec(0), k)
			kh := mat.NewDense(2, 2, []float64{1 - k.AtVec(0), 0, -k.AtVec(1), 1})
			var next mat.Dense
			next.Mul(kh, p)
			p.Copy(&next)
			for name, pair := range map[string][2]float64{
				"mean": {x.AtVec(0), f.Mean}, "factor": {x.AtVec(1), f.Factor}, "var mean": {p.At(0, 0), f.VarMean},
				"cov": {p.At(0, 1), f.Cov}, "var factor": {p.At(1, 1), f.VarFactor},
			} {
				if math.Abs(pair[0]-pair[1]) > 1e-9 {
					rt.Fatalf("%s: textbook %v, ours %v", name, pair[0], pair[1])
				}
			}
		}
	})
}

// A pot that drinks 1.3 times what the book says, seen by a noisy probe.
func TestFilterLearnsTheFactorAndKnowsItsDoubt(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	inside, all := 0, 0
	for range 20 {
		truth, factor := 0.5, 1.3
		f := NewFilter(0.47, 0.05, 1, 0.25)
		for h := range 21 * 24 {
			loss := 0.002
			gain := 0.0
			if truth < 0.40 {
				gain = 0.10
			}
			truth += gain - factor*loss
			f.Predict(loss, gain, 1e-8, 0)
			f.Update(truth+0.01*rng.NormFloat64(), 0.01)
			if h > 24 {
				all++
				if math.Abs(truth-f.Mean) < 1.96*f.SD() {
					inside++
				}
			}
		}
		assert.InDelta(t, factor, f.Factor, 0.13, "within a tenth after three weeks")
	}
	share := float64(inside) / float64(all)
	assert.Greater(t, share, 0.90)
	assert.LessOrEqual(t, share, 0.999)
}

func TestFilterStaysSane(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		f := NewFilter(rapid.Float64Range(0, 1).Draw(rt, "mean"), 0.1, 1, 0.25)
		any := rapid.OneOf(rapid.Float64Range(-1, 2), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), 0, 1e-300}))
		for range 50 {
			switch rapid.IntRange(0, 6).Draw(rt, "what") {
			case 0:
				f.Predict(math.Abs(any.Draw(rt, "a")), math.Abs(any.Draw(rt, "b")), 1e-6, 1e-6)
			case 1:
				f.Update(any.Draw(rt, "z"), any.Draw(rt, "sd"))
			case 2:
				f.UpdateMean(any.Draw(rt, "z"), any.Draw(rt, "sd"))
			case 3:
				f.UpdateFactor(any.Draw(rt, "z"), any.Draw(rt, "sd"))
			case 4:
				f.Drift(any.Draw(rt, "v"))
			case 5:
				f.Forget(any.Draw(rt, "v"))
			case 6:
				f.Hold(0.2, 0.8)
			}
			if !(f.Mean >= 0 && f.Mean <= 1) || !(f.Factor >= MinFactor && f.Factor <= MaxFactor) ||
				!(f.VarMean > 0 && f.VarFactor > 0) || f.Cov*f.Cov > f.VarMean*f.VarFactor {
				rt.Fatalf("%+v", f)
			}
		}
	})
}

func TestUpdateMeanLeavesTheFactor(t *testing.T) {
	f := NewFilter(0.5, 0.05, 1.2, 0.2)
	f.Predict(0.1, 0, 0, 0)
	f.UpdateMean(0.2, 0.01)
	assert.Equal(t, 1.2, f.Factor)
	assert.Less(t, f.Mean, 0.3)
	f.UpdateFactor(1.6, 0.1)
	assert.Greater(t, f.Factor, 1.2)
}

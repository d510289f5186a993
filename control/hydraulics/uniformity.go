package hydraulics

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// MaxEmitters bounds one test of uniformity.
const MaxEmitters = 10_000

// Uniformity is how evenly emitters give, from volumes or flows caught from
// each over one time. Percentages are 100 where all give the same.
type Uniformity struct {
	N              int
	Mean, Min, Max float64
	// DUlq is distribution uniformity of the lowest quarter, 100 · mean of the
	// lowest quarter / mean. Drip in the field mostly lies at 65..80 (Pitts et
	// al., Hanson et al., California evaluations).
	DUlq float64
	// CU is Christiansen's coefficient (1942), 100·[1 − Σ|x−mean|/(n·mean)].
	CU float64
	// CV is the coefficient of variation, sample standard deviation / mean.
	CV float64
}

// Measure judges caught volumes in any one unit. The lowest quarter of n values
// is n/4 of them; the last counts in part where n is no multiple of four, and
// under four values the lowest stands for it. It refuses fewer than two values,
// anything negative or not finite, and emitters that gave nothing at all.
func Measure(caught []float64) (Uniformity, error) {
	if len(caught) < 2 || len(caught) > MaxEmitters {
		return Uniformity{}, fmt.Errorf("hydraulics: %d emitters, expected 2 to %d", len(caught), MaxEmitters)
	}
	for i, v := range caught {
		if err := within(fmt.Sprintf("emitter %d", i+1), v, 0, 1e9, ""); err != nil {
			return Uniformity{}, err
		}
	}
	x := slices.Clone(caught)
	slices.Sort(x)
	mean, dev := stat.MeanStdDev(x, nil)
	if mean <= 0 {
		return Uniformity{}, fmt.Errorf("hydraulics: no emitter gave any water; was the line open?")
	}
	u := Uniformity{N: len(x), Mean: mean, Min: x[0], Max: x[len(x)-1], CV: dev / mean}
	u.DUlq = 100 * lowQuarter(x) / mean
	var off float64
	for _, v := range x {
		off += math.Abs(v - mean)
	}
	u.CU = 100 * (1 - off/(float64(len(x))*mean))
	return u, nil
}

// lowQuarter is the mean of the lowest quarter of sorted values.
func lowQuarter(sorted []float64) float64 {
	quarter := max(float64(len(sorted))/4, 1)
	var sum float64
	left := quarter
	for _, v := range sorted {
		w := min(left, 1)
		sum += w * v
		if left -= w; left <= 0 {
			break
		}
	}
	return sum / quarter
}

// EmissionUniformity is EU of a design, percent: 100·(1 − 1.27·CV/√Np)·qmin/qavg
// (Keller and Karmeli; ASAE EP405), from the maker's coefficient of variation,
// the emitters on each plant and the least and mean flow that pressure makes.
// 90 and more is excellent, 80 to 90 good, 70 to 80 fair, less is poor.
func EmissionUniformity(makerCV float64, perPlant int, least, mean float64) (float64, error) {
	if err := firstError(
		within("maker's coefficient of variation", makerCV, 0, 0.7, ""),
		within("emitters per plant", float64(perPlant), 1, 1000, ""),
		within("least flow", least, 0, 1e9, ""),
		positive("mean flow", mean, 1e9, ""),
	); err != nil {
		return 0, err
	}
	if least > mean {
		return 0, fmt.Errorf("hydraulics: least flow %v is over the mean %v; exchange them", least, mean)
	}
	return 100 * (1 - 1.27*makerCV/math.Sqrt(float64(perPlant))) * least / mean, nil
}

// Judged is the usual word for a uniformity in percent.
func Judged(percent float64) string {
	switch {
	case percent >= 90:
		return "excellent"
	case percent >= 80:
		return "good"
	case percent >= 70:
		return "fair"
	}
	return "poor"
}

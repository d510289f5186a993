package feed

import (
	"fmt"
	"strconv"
	"strings"

	"fabricpot/control/garden"
)

// Atomic masses, g/mol (IUPAC, abridged), from which the oxide factors follow.
const (
	massN = 14.007
	massO = 15.999
	massP = 30.973762
	massK = 39.0983
)

// Mass of element per mass of the oxide a label prints.
const (
	// PPerP2O5 is 0.436427, its inverse 2.291335.
	PPerP2O5 = 2 * massP / (2*massP + 5*massO)
	// KPerK2O is 0.830151, its inverse 1.204600.
	KPerK2O = 2 * massK / (2*massK + massO)
)

// NPK is an amount of the three main nutrients as elements. Its unit is
// whatever the place says: grams, mg/L or percent.
type NPK struct {
	N float64 `json:"n"`
	P float64 `json:"p"`
	K float64 `json:"k"`
}

// Add returns the sum.
func (a NPK) Add(b NPK) NPK { return NPK{a.N + b.N, a.P + b.P, a.K + b.K} }

// Sub returns the difference.
func (a NPK) Sub(b NPK) NPK { return NPK{a.N - b.N, a.P - b.P, a.K - b.K} }

// Times returns a scaled by f.
func (a NPK) Times(f float64) NPK { return NPK{a.N * f, a.P * f, a.K * f} }

// Least returns the smaller of each nutrient.
func (a NPK) Least(b NPK) NPK { return NPK{min(a.N, b.N), min(a.P, b.P), min(a.K, b.K)} }

// Valid reports whether all three are finite and not negative.
func (a NPK) Valid() bool {
	return garden.Finite(a.N) && garden.Finite(a.P) && garden.Finite(a.K) && a.N >= 0 && a.P >= 0 && a.K >= 0
}

// Elements converts a label from N-P₂O₅-K₂O to N-P-K, percent by mass.
func Elements(a garden.Analysis) NPK {
	return NPK{N: a.N, P: a.P2O5 * PPerP2O5, K: a.K2O * KPerK2O}
}

// CheckAnalysis refuses a label that cannot be one: a number that is not finite
// or negative, a sum over 100 %, or nothing at all in it.
func CheckAnalysis(a garden.Analysis) error {
	for _, v := range [...]struct {
		name string
		x    float64
	}{{"N", a.N}, {"P2O5", a.P2O5}, {"K2O", a.K2O}} {
		if !garden.Finite(v.x) || v.x < 0 {
			return fmt.Errorf("feed: label: %s is %v %%, expected a number from 0 to 100", v.name, v.x)
		}
	}
	sum := a.N + a.P2O5 + a.K2O
	if sum > 100 {
		return fmt.Errorf("feed: label %s sums to %g %%, expected at most 100: check it against the bag", FormatAnalysis(a), sum)
	}
	if sum == 0 {
		return fmt.Errorf("feed: label 0-0-0 holds no nutrient, expected N-P2O5-K2O as on the bag, such as 20-10-20")
	}
	return nil
}

// ParseAnalysis reads a label such as "20-10-20" or "5-2.5-6".
func ParseAnalysis(s string) (garden.Analysis, error) {
	if len(s) > 40 {
		return garden.Analysis{}, fmt.Errorf("feed: label of %d characters, expected three numbers such as 20-10-20", len(s))
	}
	parts := strings.Split(strings.TrimSpace(s), "-")
	if len(parts) != 3 {
		return garden.Analysis{}, fmt.Errorf("feed: label %q has %d parts, expected three numbers such as 20-10-20", s, len(parts))
	}
	var v [3]float64
	for i, p := range parts {
		p = strings.TrimSpace(p)
		// Digits and a point only: no exponents, signs, hexadecimal or "inf",
		// none of which stands on a bag.
		if p == "" || strings.Trim(p, "0123456789.") != "" {
			return garden.Analysis{}, fmt.Errorf("feed: label %q: %q is not a number, expected three numbers such as 20-10-20", s, p)
		}
		x, err := strconv.ParseFloat(p, 64)
		if err != nil {
			return garden.Analysis{}, fmt.Errorf("feed: label %q: %q is not a number, expected three numbers such as 20-10-20", s, p)
		}
		v[i] = x
	}
	a := garden.Analysis{N: v[0], P2O5: v[1], K2O: v[2]}
	if err := CheckAnalysis(a); err != nil {
		return garden.Analysis{}, err
	}
	return a, nil
}

// FormatAnalysis writes a label the way bags do.
func FormatAnalysis(a garden.Analysis) string {
	f := func(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }
	return f(a.N) + "-" + f(a.P2O5) + "-" + f(a.K2O)
}

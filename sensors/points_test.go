package sensors

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestReadPoints(t *testing.T) {
	want := []point{{Volts: 2.5, Water: 0.05}, {Volts: 1.4, Water: 0.6}}
	for _, c := range []struct{ name, in string }{
		{"plain", "2.5,0.05\n1.4,0.6\n"},
		{"header", "volts,water\n2.5,0.05\n1.4,0.6"},
		{"header the other way round", "Water, Volts\n0.05,2.5\n0.6,1.4\n"},
		{"CRLF, byte order mark, blanks, comments", "\ufeffvolts,water\r\n# air-dry\r\n 2.5 , 0.05\r\n\r\n1.4,0.6\r\n"},
		{"quoted", "\"2.5\",\"0.05\"\n1.4,6e-1\n"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := ReadPoints(strings.NewReader(c.in), "mix.csv")
			require.NoError(t, err)
			assert.Equal(t, want, got)
		})
	}
}

func TestReadPointsRefuses(t *testing.T) {
	for _, c := range []struct{ name, in, want string }{
		{"nothing", "", "mix.csv:1:1: no points"},
		{"a header alone", "volts,water\n", "no points"},
		{"a word", "2.5,0.05\n1.4,wet\n", `mix.csv:2:5: "wet", expected a number`},
		{"NaN", "NaN,0.05\n", `mix.csv:1:1: "NaN", expected a number`},
		{"infinity", "2.5,+Inf\n", `mix.csv:1:5: "+Inf"`},
		{"percent", "volts,water\n2.5,5\n", "mix.csv:2:5: water fraction 5"},
		{"millivolts", "2500,0.05\n", "mix.csv:1:1: 2500 V, expected 0 to 5.5"},
		{"three columns", "1,0.5,3\n", "mix.csv:1:1: 3 columns, expected 2"},
		{"semicolons", "2,5;0,05\n", "decimals with a point"},
		{"a header of other columns", "v,theta\n2.5,0.05\n", `mix.csv:1:1: "v"`},
		{"a header in the middle", "2.5,0.05\nvolts,water\n", `mix.csv:2:1: "volts"`},
		{"a stray quote", "2.5,0.05\n1.4,\"0.6\n", "mix.csv:"},
		{"binary", "2.5,0.05\n1.\x004,0.6\n", "mix.csv:2:3: not plain text"},
		{"not UTF-8", "2.5,0.05\n\xff\xfe", "mix.csv:2:1: not plain text"},
		{"a huge field", strings.Repeat("9", 5000) + "x,1\n", `mix.csv:1:1: "9999`},
		{"a huge file", strings.Repeat("2.5,0.05\n", 1<<18), "more than"},
		{"too many points", strings.Repeat("1,0\n", maxPoints+1), "more than 10000 points"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := ReadPoints(strings.NewReader(c.in), "mix.csv")
			require.ErrorContains(t, err, c.want)
			assert.Less(t, len(err.Error()), 300)
		})
	}
}

// Whatever a file holds: an error that names it, or points that survive being
// written and read again and either make a curve that behaves or are refused.
func FuzzReadPoints(f *testing.F) {
	for _, seed := range []string{
		"volts,water\n2.5,0.05\n1.4,0.6\n", "2.5,0.05\r\n2.1,0.2\r\n1.4,0.6\r\n", "\ufeffwater,volts\n0.1,2\n",
		"# c\n1,1e-300\n5.5,1\n", "1,\"0\n", "2,5;0,05\n", "0x1p-2,0\n1,1\n",
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, src []byte) {
		points, err := ReadPoints(bytes.NewReader(src), "x.csv")
		if err != nil {
			if !strings.HasPrefix(err.Error(), "x.csv:") {
				t.Fatalf("error does not name the file: %v", err)
			}
			return
		}
		var again bytes.Buffer
		for _, p := range points {
			fmt.Fprintf(&again, "%v,%v\n", float64(p.Volts), float64(p.Water))
		}
		back, err := ReadPoints(&again, "y.csv")
		require.NoError(t, err)
		require.Equal(t, points, back)
		for _, kind := range []garden.CalibrationKind{garden.TwoPoint, garden.Interpolated, garden.LeastSquares} {
			c, err := NewCurve(calibrate(kind, points...))
			if err != nil {
				continue
			}
			for v := -1.0; v < 7; v += 0.01 {
				w, _ := c.Water(garden.Volts(v))
				if !(w >= 0 && w <= 1) {
					t.Fatalf("%s: water %v at %g V", kind, w, v)
				}
			}
		}
	})
}

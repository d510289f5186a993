package w1

import (
	"errors"
	"io/fs"
	"math"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const name = "28-0316a2794bff"

// TestParse: the first pair is the example of the kernel's documentation
// (Documentation/w1/slaves/w1_therm.rst, from memory); the scale of 1/16 °C is
// the family's data sheet's.
func TestParse(t *testing.T) {
	good := map[string]float64{
		"72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 4b 46 7f ff 0e 10 57 t=23125\n": 0x172 / 16.0,
		"5e ff 4b 46 7f ff 02 10 c6 : crc=c6 YES\n5e ff 4b 46 7f ff 02 10 c6 t=-10125":  -10.125,
		"00 00 4b 46 7f ff 10 10 3a : crc=3a YES\n00 00 4b 46 7f ff 10 10 3a t=0\n":     0,
		"50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=84937\n": 84.937,
	}
	for text, want := range good {
		got, err := Parse(text)
		require.NoError(t, err, text)
		assert.InDelta(t, want, got, 1e-9)
	}
	first := "72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n"
	second := "72 01 4b 46 7f ff 0e 10 57 "
	for text, want := range map[string]error{
		"72 01 4b 46 7f ff 0e 10 58 : crc=57 NO\n" + second + "t=23125":            ErrChecksum,
		first + second + "t=85000":                                                 ErrPowerOn,
		first + second + "t=-127000":                                               ErrUnplugged,
		"ff ff ff ff ff ff ff ff ff : crc=c9 NO\nff ff ff ff ff ff ff ff ff t=-62": ErrUnplugged,
		"": nil, "YES": nil, first: nil, first + second: nil, first + second + "t=": nil, first + second + "t=warm": nil,
		first + second + "t=23125\nmore": nil, first + second + "t=125001": nil, first + second + "t=-55001": nil,
		"72 01 : crc=57 yes\n" + second + "t=23125":       ErrChecksum,
		first + second + "t=" + strings.Repeat("9", 2000): nil,
	} {
		_, err := Parse(text)
		require.Error(t, err, "%q", text)
		if want != nil {
			assert.ErrorIs(t, err, want, "%q", text)
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add("72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 4b 46 7f ff 0e 10 57 t=23125\n")
	f.Add("ff : crc= YES\nt=85000")
	f.Fuzz(func(t *testing.T, text string) {
		c, err := Parse(text)
		if err == nil && (math.IsNaN(c) || c < LeastC || c > MostC || c == 85 || !strings.Contains(text, " YES\n")) {
			t.Fatalf("%q gave %v", text, c)
		}
	})
}

// flaky is a tree whose nth read fails.
type flaky struct {
	fs.FS
	n, failAt int
}

func (f *flaky) Open(path string) (fs.File, error) {
	if f.n++; f.n == f.failAt {
		return nil, errors.New("input/output error")
	}
	return f.FS.Open(path)
}

// TestReadFailsAtEveryStep: a read that fails gives no value and the next one
// works again.
func TestReadFailsAtEveryStep(t *testing.T) {
	tree := fstest.MapFS{name + "/w1_slave": {Data: []byte("72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 4b 46 7f ff 0e 10 57 t=23125\n")}}
	for n := 1; n <= 3; n++ {
		f := &flaky{FS: tree, failAt: n}
		th, err := New(f, name)
		require.NoError(t, err)
		for i := 1; i <= 3; i++ {
			c, err := th.Read()
			if i == n {
				require.ErrorContains(t, err, name)
				assert.Zero(t, c)
				continue
			}
			require.NoError(t, err)
			assert.Equal(t, 23.125, c)
		}
	}
	th, err := New(fstest.MapFS{}, name)
	require.NoError(t, err, "a thermometer may be plugged in later")
	_, err = th.Read()
	assert.ErrorIs(t, err, fs.ErrNotExist)
	for _, bad := range []string{"", "28-0316a2794bf", "28-0316A2794BFF", "99-0316a2794bff", "../28-0316a2794bff", "28-0316a2794bff/.."} {
		_, err := New(tree, bad)
		assert.Error(t, err, bad)
	}
}

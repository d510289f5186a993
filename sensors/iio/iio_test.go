package iio

import (
	"errors"
	"io/fs"
	"maps"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func file(s string) *fstest.MapFile { return &fstest.MapFile{Data: []byte(s)} }

// tree is what the kernel shows of a 12-bit converter of 2 mV a count, one with a
// scale for each channel and an offset, and something that is no converter.
func tree() fstest.MapFS {
	return fstest.MapFS{
		"iio:device0/name":              file("ads1015\n"),
		"iio:device0/in_voltage0_raw":   file("750\n"),
		"iio:device0/in_voltage0_scale": file("2.000000\n"),
		"iio:device0/in_voltage1_raw":   file("-1\n"),
		"iio:device0/in_voltage1_scale": file("2\n"),
		"iio:device1/name":              file("mcp3208\n"),
		"iio:device1/label":             file("east\n"),
		"iio:device1/in_voltage7_raw":   file("2048"),
		"iio:device1/in_voltage_scale":  file("0.805664062\n"),
		"iio:device1/in_voltage_offset": file("-8\n"),
		"iio:device2/name":              file("mcp3208\n"),
		"iio:device3/name":              file("bmp280\n"),
		"trigger0/name":                 file("ads1015\n"),
	}
}

// TestVolts holds readings against (raw + offset) · scale in mV, as the kernel's
// ABI document has it, by hand.
func TestVolts(t *testing.T) {
	for _, called := range []string{"ads1015", "iio:device0"} {
		c, err := New(tree(), called)
		require.NoError(t, err)
		v, err := c.ReadVolts(0)
		require.NoError(t, err)
		assert.InDelta(t, 1.5, float64(v), 1e-12)
		v, err = c.ReadVolts(1)
		require.NoError(t, err)
		assert.InDelta(t, -0.002, float64(v), 1e-12, "a little under ground happens")
		_, err = c.ReadVolts(2)
		assert.ErrorIs(t, err, fs.ErrNotExist)
		for _, ch := range []int{-1, 32} {
			_, err = c.ReadVolts(ch)
			assert.Error(t, err)
		}
	}
	c, err := New(tree(), "east")
	require.NoError(t, err)
	v, err := c.ReadVolts(7)
	require.NoError(t, err)
	assert.InDelta(t, 2040*0.805664062/1000, float64(v), 1e-12)
}

func TestDevicesThatAreNotMeant(t *testing.T) {
	for called, want := range map[string]string{
		"mcp3208": "there are several, iio:device1, iio:device2", "ads1115": "the kernel shows iio:device0 ads1015; iio:device1 mcp3208 east",
		"": "expected a device's label", "../iio:device0": "expected a device's label", "trigger0": "not there",
	} {
		_, err := New(tree(), called)
		require.ErrorContains(t, err, want, called)
	}
	_, err := New(fstest.MapFS{}, "ads1015")
	require.ErrorContains(t, err, "the kernel shows none")
}

// flaky is a tree whose nth read fails.
type flaky struct {
	fs.FS
	n, failAt int
}

func (f *flaky) Open(path string) (fs.File, error) {
	if f.n++; f.n == f.failAt {
		return nil, errors.New("device or resource busy")
	}
	return f.FS.Open(path)
}

// TestFailsAtEveryStep: whichever file can't be read, there is no value, and the
// next conversion works.
func TestFailsAtEveryStep(t *testing.T) {
	// raw, own scale, scale of all, own offset, offset of all.
	for n := 1; n <= 5; n++ {
		f := &flaky{FS: tree()}
		c, err := New(f, "east")
		require.NoError(t, err)
		f.n, f.failAt = 0, n
		v, err := c.ReadVolts(7)
		require.ErrorContains(t, err, "converter of the kernel east, channel 7: ", "step %d", n)
		assert.Zero(t, v)
		f.failAt = 0
		_, err = c.ReadVolts(7)
		require.NoError(t, err)
	}
}

func TestWhatIsNoNumber(t *testing.T) {
	for path, texts := range map[string][]string{
		"iio:device0/in_voltage0_raw":   {"", "x", "NaN", "Inf", "1 2"},
		"iio:device0/in_voltage0_scale": {"", "0", "-2", "NaN", "1e999"},
	} {
		for _, s := range texts {
			files := maps.Clone(tree())
			files[path] = file(s)
			c, err := New(files, "ads1015")
			require.NoError(t, err)
			_, err = c.ReadVolts(0)
			assert.Error(t, err, "%s %q", path, s)
		}
	}
}

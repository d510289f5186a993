package config_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/control/garden"
)

func TestReadCalibration(t *testing.T) {
	src, err := os.ReadFile("testdata/bark.calibration.yaml")
	require.NoError(t, err)
	c, err := config.ReadCalibration("bark.calibration.yaml", src)
	require.NoError(t, err)
	assert.Equal(t, garden.Quadratic, c.Kind)
	assert.Len(t, c.Points, 4)
	assert.Equal(t, 21.0, c.TempRefC)
	assert.InDelta(t, -0.015, c.ProbeOffsets["herbs-deep"], 1e-12)
	assert.Equal(t, "bark.calibration.yaml", c.File)
}

func TestCalibrationFileSlips(t *testing.T) {
	for name, k := range map[string]struct{ src, want string }{
		"nothing":          {"", "cal:1:1: an empty garden file"},
		"no method":        {"points: []\n", `no "method"`},
		"too few points":   {"method: quadratic\npoints:\n  - { volts: 1 V, water: 20 % }\n", "wrong number of points"},
		"a typing error":   {"methd: linear\n", `cal:1:1: calibration: unknown key of a calibration file, found "methd", expected "method"`},
		"a file in a file": {"file: other.yaml\n", "unknown key"},
		"percent left out": {"method: two-point\npoints:\n  - { volts: 1 V, water: 60 }\n  - { volts: 2 V, water: 10 % }\n", "cal:3:"},
		"a wild offset":    {"method: linear\nslope: -40 %/V\nintercept: 110 %\noffsets: { a: 90 % }\n", "cal:4:"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := config.ReadCalibration("cal", []byte(k.src))
			require.ErrorContains(t, err, k.want)
		})
	}
}

// A garden file may name a file beside it, never one elsewhere.
func TestGardenNamesCalibrationFile(t *testing.T) {
	dir := t.TempDir()
	cal, err := os.ReadFile("testdata/bark.calibration.yaml")
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "bark.yaml"), cal, 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "bad.yaml"), []byte("method: cubic\n"), 0o600))
	load := func(reference string) (*garden.Garden, error) {
		g, _, err := config.Load(filepath.Join(dir, "g.yaml"), []byte(replace(t, full, "file: testdata/bark.calibration.yaml", reference)))
		return g, err
	}
	g, err := load("file: bark.yaml")
	require.NoError(t, err)
	found := false
	g.EachZone(func(p *garden.Pot, z *garden.Zone) {
		for i := range z.Probes {
			if c := g.CalibrationFor(p, &z.Probes[i]); c.File != "" {
				found = true
				assert.Equal(t, garden.Quadratic, c.Kind)
			}
		}
	})
	assert.True(t, found)
	for reference, want := range map[string]string{
		"file: nothere.yaml":                  "can't be read",
		"file: ../g.yaml":                     "not a name beside the garden file",
		"file: /etc/hostname":                 "not a name beside the garden file",
		"file: bad.yaml":                      "bad.yaml:1:9: calibration.method",
		"{ file: bark.yaml, slope: -40 %/V }": "stands beside a calibration file",
		"{ offset: 1 % }":                     `no "method"`,
	} {
		t.Run(reference, func(t *testing.T) {
			if reference[0] == '{' {
				// The whole calibration in one line.
				g, _, err := config.Load(filepath.Join(dir, "g.yaml"), []byte(replace(t, full, "calibration:\n              file: testdata/bark.calibration.yaml", "calibration: "+reference)))
				assert.Nil(t, g)
				require.ErrorContains(t, err, want)
				return
			}
			_, err := load(reference)
			require.ErrorContains(t, err, want)
		})
	}
	outside := filepath.Join(t.TempDir(), "out.yaml")
	require.NoError(t, os.WriteFile(outside, cal, 0o600))
	require.NoError(t, os.Symlink(outside, filepath.Join(dir, "link.yaml")))
	_, err = load("file: link.yaml")
	require.ErrorContains(t, err, "can't be read")
}

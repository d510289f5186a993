package config_test

import (
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/config"
)

// small is a valid file that the bad ones are made from, one slip each.
const small = `site:
  name: Test
  latitude: 40.64
  longitude: 22.94
  elevation: 45 m
  time-zone: Europe/Athens
mixes:
  light:
    retention:
      model: van-genuchten
      theta-r: 10 %
      theta-s: 88 %
      alpha: 0.15 /cm
      n: 1.6
    calibration:
      method: two-point
      points:
        - { volts: 2.5 V, water: 10 % }
        - { volts: 1.3 V, water: 60 % }
pots:
  chilli:
    mix: light
    size: 38 L
    plants:
      - crop: chilli
    probes:
      top: { depth: 10 cm, input: 0x48/0 }
  trough:
    mix: light
    size: 75 L
    zones:
      a: { share: 50 %, plants: [{ crop: bush bean, count: 6 }] }
      b: { share: 50 %, hand-tended: yes }
lines:
  one:
    valve: { pin: 17 }
    waters: { chilli: 4 x 2 L/h }
  two:
    valve: { pin: 27 }
    waters:
      trough-a: 4 x 2 L/h
supply:
  flow: 30 L/h
`

// slip is one mistake made in small, and all that must be said about it.
type slip struct {
	name     string
	old, new string
	want     []string
}

func TestBadFiles(t *testing.T) {
	_, s, err := config.Load("g.yaml", []byte(small))
	require.NoError(t, err, "the base must be good")
	require.Empty(t, s.Warnings)
	for _, c := range slips() {
		t.Run(c.name, func(t *testing.T) {
			require.Contains(t, small, c.old, "the slip must be made somewhere")
			g, _, err := config.Load("g.yaml", []byte(strings.Replace(small, c.old, c.new, 1)))
			require.Nil(t, g)
			var ps config.Problems
			require.True(t, errors.As(err, &ps))
			assert.Equal(t, strings.Join(c.want, "\n"), err.Error())
		})
	}
}

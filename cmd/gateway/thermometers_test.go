package main

import (
	"testing"
	"testing/fstest"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestThermometersOfABoard reads them from the kernel's files beside the rounds,
// says once what is wrong, and stops with the board.
func TestThermometersOfABoard(t *testing.T) {
	const id, gone = "28-0316a2794bff", "28-0316a2794c00"
	zone := func(name, th string) garden.Zone {
		return garden.Zone{ID: garden.ZoneID(name), Thermometer: th, Probes: []garden.Probe{{Zone: garden.ZoneID(name)}}}
	}
	g := &garden.Garden{Pots: []garden.Pot{{Zones: []garden.Zone{zone("a", id), zone("b", gone), zone("c", "")}}}}
	tree := fstest.MapFS{id + "/w1_slave": {Data: []byte("72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 4b 46 7f ff 0e 10 57 t=23125\n")}}
	b, errs := &board{}, &output{}
	warmth, err := b.openThermometers(g, tree, errs)
	require.NoError(t, err)
	require.Eventually(t, func() bool { return warmth(0).Known }, 20*time.Second, 5*time.Millisecond)
	assert.Equal(t, garden.Known(23.125), warmth(0))
	assert.False(t, warmth(1).Known || warmth(2).Known)
	require.NoError(t, b.Close())
	assert.Contains(t, errs.String(), "1-wire thermometer "+gone)
	none, err := (&board{}).openThermometers(&garden.Garden{}, tree, errs)
	require.NoError(t, err)
	assert.Nil(t, none)
}

package config_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/testdata"
)

// TestThermometer takes a 1-wire thermometer's name, and says where it would be
// of no use.
func TestThermometer(t *testing.T) {
	const chilli = "    size: 38 L               # 10 gal\n"
	with := func(name string) string {
		require.Contains(t, string(testdata.Terrace), chilli)
		return strings.Replace(string(testdata.Terrace), chilli, chilli+"    thermometer: "+name+"\n", 1)
	}
	g, s, err := config.Load("g.yaml", []byte(with("28-0316a2794bff")))
	require.NoError(t, err)
	_, z, ok := g.Zone("chilli")
	require.True(t, ok)
	assert.Equal(t, "28-0316a2794bff", z.Thermometer)
	assert.Empty(t, s.Warnings)
	for _, bad := range []string{"warm", "28-0316A2794BFF", "28-0316a2794bff/..", "99-0316a2794bff", "12"} {
		_, _, err := config.Load("g.yaml", []byte(with(bad)))
		require.ErrorContains(t, err, "not a 1-wire thermometer", bad)
		assert.Regexp(t, `^g\.yaml:\d+:\d+: pots\.chilli\.thermometer`, err.Error())
	}
}

// TestInputBehindAMultiplexer takes a bus by where its multiplexer is.
func TestInputBehindAMultiplexer(t *testing.T) {
	const at = "deep: { depth: 36 cm, input: 0x48/1 }"
	require.Contains(t, string(testdata.Terrace), at)
	g, _, err := config.Load("g.yaml", []byte(strings.Replace(string(testdata.Terrace), at, "deep: { depth: 36 cm, input: 1-0070/channel-2/0x48/0 }", 1)))
	require.NoError(t, err)
	var found bool
	for _, p := range g.ProbeList() {
		if p.ID == "aubergine-deep" {
			found = true
			assert.Equal(t, "1-0070/channel-2", p.Input.Bus)
			assert.Equal(t, uint16(0x48), p.Input.Addr)
			assert.Equal(t, 0, p.Input.Channel, "the same address and channel as another bus's")
		}
	}
	assert.True(t, found)
}

// TestInputOfTheKernel takes a channel of a converter that the kernel drives.
func TestInputOfTheKernel(t *testing.T) {
	const at = "input: 0x48/1 }"
	require.Contains(t, string(testdata.Terrace), at)
	with := func(input string) (*config.Source, string, error) {
		g, s, err := config.Load("g.yaml", []byte(strings.Replace(string(testdata.Terrace), at, "input: "+input+" }", 1)))
		if err != nil {
			return s, "", err
		}
		for _, p := range g.ProbeList() {
			if p.ID == "aubergine-deep" {
				name, ok := p.Input.Kernel()
				assert.True(t, ok)
				assert.Equal(t, 5, p.Input.Channel)
				return s, name, nil
			}
		}
		return s, "", nil
	}
	for _, name := range []string{"ads1015", "iio:device0", "east-1"} {
		_, got, err := with("iio/" + name + "/5")
		require.NoError(t, err)
		assert.Equal(t, name, got)
	}
	for _, bad := range []string{"iio/ads1015", "iio//0", "iio/ads1015/32", "iio/ads1015/x", "iio/../0", "iio/a b/0"} {
		_, _, err := with(bad)
		require.Error(t, err, bad)
		assert.Regexp(t, `^g\.yaml:\d+:\d+: pots\.aubergine\.probes\.deep\.input: (not an|no such) input`, err.Error())
	}
}

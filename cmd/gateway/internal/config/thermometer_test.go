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

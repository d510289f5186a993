package config_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/testdata"
)

func TestExamplesLoad(t *testing.T) {
	for name, src := range map[string][]byte{"terrace.yaml": testdata.Terrace, "heatwave.yaml": testdata.Heatwave, "garden12.yaml": testdata.Garden12} {
		t.Run(name, func(t *testing.T) {
			g, s, err := config.Load(name, src)
			require.NoError(t, err)
			require.Empty(t, s.Warnings)
			require.NotEmpty(t, g.Pots)
		})
	}
}

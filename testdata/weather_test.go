package testdata_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/testdata"
)

// TestWeatherIsTheTables: what is packed into the program is what stands beside it.
func TestWeatherIsTheTables(t *testing.T) {
	tables, err := filepath.Glob("weather/*.csv")
	require.NoError(t, err)
	require.Len(t, tables, 3)
	for _, path := range tables {
		want, err := os.ReadFile(path)
		require.NoError(t, err)
		got, err := testdata.Weather(filepath.Base(path))
		require.NoError(t, err)
		assert.Equal(t, string(want), string(got), "%s: go generate ./testdata", path)
	}
	_, err = testdata.Weather("mars.csv")
	require.ErrorIs(t, err, os.ErrNotExist)
}

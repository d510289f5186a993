package journal

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestLimitsAreKept: the last word counts, with the clock it was said on.
func TestLimitsAreKept(t *testing.T) {
	path := filepath.Join(t.TempDir(), "j.db")
	j := open(t, path, WithClock("boot a"))
	held, _, err := j.Limits()
	require.NoError(t, err)
	assert.Nil(t, held, "a first start knows of none")
	require.Error(t, j.KeepLimits([]byte("{")), "half of something")
	require.NoError(t, j.KeepLimits([]byte(`{"cap":1}`)))
	require.NoError(t, j.KeepLimits([]byte(`{"cap":2}`)))
	require.NoError(t, j.Close())
	for clock, same := range map[string]bool{"boot a": true, "boot b": false} {
		j = open(t, path, WithClock(clock))
		held, sameClock, err := j.Limits()
		require.NoError(t, err)
		assert.JSONEq(t, `{"cap":2}`, string(held))
		assert.Equal(t, same, sameClock, clock)
		require.NoError(t, j.Close())
	}
	j = open(t, path)
	require.NoError(t, j.SetMeta(limitsKey, "rubbish"))
	held, _, err = j.Limits()
	require.NoError(t, err)
	assert.Nil(t, held)
}

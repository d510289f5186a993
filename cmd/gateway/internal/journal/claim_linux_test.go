package journal

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestClaim: one of two has the journal, the other is told, and who was refused does the first
// no harm. flock(2).
func TestClaim(t *testing.T) {
	path := filepath.Join(t.TempDir(), "j.db")
	one, two := open(t, path), open(t, path)
	require.NoError(t, one.Claim())
	err := two.Claim()
	require.ErrorIs(t, err, ErrInUse)
	require.ErrorContains(t, err, path)
	require.NoError(t, two.Close())
	require.NoError(t, one.Intend(order(1), 2, at(0)))
	require.NoError(t, one.Close())
	again := open(t, path)
	require.NoError(t, again.Claim(), "it ends with Close")
	last, err := again.LastOrderID()
	require.NoError(t, err)
	assert.EqualValues(t, 1, last)
}

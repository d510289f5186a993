package season

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestSwappedProbesArePromised: confused plugs are told of within two hours of the
// second watering that shows them, whichever of the two lines it was, and beside a
// third line. While it rains every day nothing is promised.
func TestSwappedProbesArePromised(t *testing.T) {
	for _, seed := range []uint64{1, 6, 7, 15} {
		o, err := Play(NewScript(seed, Single, singleDays, "probes swapped"))
		require.NoError(t, err)
		assert.True(t, o.Expected, "seed %d", seed)
		assert.Empty(t, o.Violations, "seed %d", seed)
	}
	s := NewScript(7, Single, singleDays, "probes swapped")
	s.Weather = "rain"
	o, err := Play(s)
	require.NoError(t, err)
	assert.False(t, o.Expected)
	assert.Empty(t, o.Violations)
}

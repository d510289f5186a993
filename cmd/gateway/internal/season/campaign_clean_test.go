package season

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestNoAlarmWithoutAFault plays clean scripts that once raised an alarm each few
// days: a lone probe that does not see its pot's depth, watered through by the
// water balance, took what a guess may give a day for the line's limit.
func TestNoAlarmWithoutAFault(t *testing.T) {
	for _, seed := range []uint64{6} {
		o, err := Play(NewScript(seed, Clean, 55, ""))
		require.NoError(t, err)
		assert.Empty(t, o.Alarms, "seed %d", seed)
		assert.Empty(t, o.Violations, "seed %d", seed)
		assert.Greater(t, o.Orders, 50, "seed %d", seed)
	}
}

package season

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What is nothing but a rounding error prints as nothing.
func TestNothingDrainedIsNotLessThanNothing(t *testing.T) {
	var out strings.Builder
	require.NoError(t, Result{Zones: []ZoneResult{{Name: "chilli", DrainedL: -1e-14}}}.WriteTable(&out))
	assert.NotContains(t, out.String(), "-0.0")
}

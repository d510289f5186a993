package cost_test

import (
	"os/exec"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestBaselineLinksWhatTheGatewayLinks: a library that the baseline lacks would
// count as the gateway's own cost, one that it alone has would hide some of it.
func TestBaselineLinksWhatTheGatewayLinks(t *testing.T) {
	others := func(pkg string) []string {
		cmd := exec.Command("go", "list", "-deps", pkg)
		cmd.Stderr = &strings.Builder{}
		out, err := cmd.Output()
		require.NoError(t, err, "%s", cmd.Stderr)
		all := slices.DeleteFunc(strings.Fields(string(out)), func(p string) bool { return strings.HasPrefix(p, "fabricpot/") })
		slices.Sort(all)
		return all
	}
	gateway := others("fabricpot/cmd/gateway")
	require.Contains(t, gateway, "modernc.org/sqlite")
	assert.Equal(t, gateway, others("fabricpot/cmd/gateway/internal/cost/baseline"))
}

package journal

import (
	"path/filepath"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestStandingRequests: what a person switched off or kept shut is still so after
// a restart, and what they took back or what ran out is not.
func TestStandingRequests(t *testing.T) {
	j, _, err := Open(filepath.Join(t.TempDir(), "journal.db"))
	require.NoError(t, err)
	defer j.Close()
	at := garden.Moment{Wall: time.Date(2026, 7, 1, 8, 0, 0, 0, time.UTC), Synced: true}
	ask := func(k garden.AskKind, z garden.ZoneID, span time.Duration) {
		t.Helper()
		a := garden.Ask{Kind: k, Zone: z, Who: "test"}
		if span > 0 {
			a.Until = at.Add(span)
		}
		require.NoError(t, j.AddAsk(at, a, ""))
	}
	ask(garden.AskAutoOff, "", 0)
	ask(garden.AskShut, "long", 48*time.Hour)
	ask(garden.AskShut, "short", time.Hour)
	ask(garden.AskShut, "freed", 48*time.Hour)
	ask(garden.AskWater, "long", 0)
	ask(garden.AskRelease, "freed", 0)

	got, err := j.Standing(at.Wall.Add(2 * time.Hour))
	require.NoError(t, err)
	require.Len(t, got, 2)
	assert.Equal(t, garden.AskAutoOff, got[0].Kind)
	assert.Equal(t, garden.ZoneID("long"), got[1].Zone)
	assert.Equal(t, 48*time.Hour, got[1].Until.Mono)
	assert.True(t, got[1].Until.Wall.Equal(at.Wall.Add(48*time.Hour)))

	ask(garden.AskAutoOn, "", 0)
	ask(garden.AskRelease, "", 0)
	got, err = j.Standing(at.Wall.Add(2 * time.Hour))
	require.NoError(t, err)
	assert.Empty(t, got)
}

package season

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestJournalBrokenAtAStart plays random terraces whose journal breaks once a line's cap
// is spent: nobody passes the dose of the day after, the plants live, and it is told.
func TestJournalBrokenAtAStart(t *testing.T) {
	seeds := uint64(14)
	if testing.Short() {
		seeds = 3
	}
	judged := 0
	for seed := uint64(100); seed < 100+seeds; seed++ {
		var w *witness
		o, err := play(NewScript(seed, Single, singleDays, journalBroken), tricks{wrap: func(o *Options) { w = o.Journal.(*memBook).w }})
		require.NoError(t, err)
		assert.Empty(t, o.Violations, "seed %d", seed)
		assert.Equal(t, 1, o.Deaths)
		require.True(t, o.Expected)
		line := &w.lines[o.Script.Mishaps[0].Pot]
		at := line.lost.from
		spent, after := line.between(at-24*time.Hour, at), line.between(at, at+brokenFor)
		assert.Positive(t, after, "seed %d: a terrace dead of thirst is no safe state", seed)
		if spent > line.capL-line.lost.doseL {
			judged++ // and the same again would be over it
		}
		t.Logf("seed %d: %.1f of %.1f L before, %.2f of %.2f L after, told after %.0f s, lost %.1f %%", seed, spent, line.capL, after, line.lost.doseL, o.DetectedS, 100*o.LostShare)
	}
	assert.Greater(t, judged, int(seeds)/3, "the cap was hardly ever spent")
}

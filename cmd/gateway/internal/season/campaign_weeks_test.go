package season

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A probe that reads ever wetter, or whose plug is damp, is believed longest of all
// faults: nothing is given. Nobody comes for five weeks and more, and no pot that has a
// line loses a quarter of what its plants would have drunk. These terraces lost 23 to 75
// % before what reads too wet was doubted.
func TestPlantsOutliveWeeksOfAProbeThatReadsTooWet(t *testing.T) {
	kept := map[MishapKind][]uint64{
		"damp in the plug": {81011, 80009, 80013, 80023, 80031, 80037, 81010},
		"probe drifts":     {81020, 80036, 80038, 81038},
	}
	for kind, seeds := range kept {
		if testing.Short() {
			seeds = seeds[:1]
		}
		for _, seed := range seeds {
			t.Run(fmt.Sprint(kind, " ", seed), func(t *testing.T) {
				t.Parallel()
				s := NewScript(seed, Single, 40, kind)
				s.Mishaps[0].At, s.Mishaps[0].For = 24*time.Hour, 0
				o, err := Play(s)
				require.NoError(t, err)
				assert.Empty(t, o.Violations)
				require.NotEmpty(t, o.Alarms)
				t.Logf("%s, towards %v: lost %.1f %%, first told after %.1f d: %s", s.Weather, s.Mishaps[0].Towards, 100*o.LostShare, o.Alarms[0].AtH/24-1, o.Alarms[0].Text)
			})
		}
	}
}

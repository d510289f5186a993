package season

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestSwappedPlugsAreTold: two probes of thirsty pots on two lines that are watered
// one after the other are confused. Mostly an alarm comes within three days, of a kind
// that does not come without, and by the sixth it says which two plugs to look at. It
// shows by the waterings of one line alone, so that the promise counts from those.
// From then on both pots are watered without them, and lose little.
func TestSwappedPlugsAreTold(t *testing.T) {
	const seeds, within, from = 12, 72 * time.Hour, 24 * time.Hour
	told, named := 0, 0
	for seed := uint64(1); seed <= seeds; seed++ {
		for _, swapped := range []bool{true, false} {
			s := with(thirstyScript(), func(s *Script) {
				s.Seed, s.Mode = seed, Single
				if swapped {
					s.Mishaps = []Mishap{{Kind: "probes swapped", Pot: 0, At: from}}
				}
			})
			o, err := Play(s)
			require.NoError(t, err)
			assert.Less(t, o.LostShare, 0.1, "seed %d", seed)
			soon, plugs, times := 0, 0, 0
			for _, a := range o.Alarms {
				if a.at >= from && a.at <= from+within {
					soon = 1
				}
				if strings.Contains(a.Text, "plugs are confused") {
					assert.Contains(t, []string{"p0-n0", "p1-n0"}, a.Subject)
					plugs, times = 1, times+1
				}
			}
			assert.LessOrEqual(t, times, 1, "seed %d: told once", seed)
			if !swapped {
				assert.Zero(t, plugs, "seed %d: nothing is confused", seed)
				assert.Zero(t, soon, "seed %d: what is told with confused plugs is told without, too", seed)
				continue
			}
			told, named = told+soon, named+plugs
		}
	}
	t.Logf("an alarm within %v in %d of %d; the plugs are named in the end in %d", within, told, seeds, named)
	assert.GreaterOrEqual(t, told, seeds/2)
	assert.GreaterOrEqual(t, named, seeds*3/4)
}

package season

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestAClockSetForwardBeforeARebootLoosensNoCap: by the wall alone what was given just
// before would be seven hours older than it is, and more be let through.
func TestAClockSetForwardBeforeARebootLoosensNoCap(t *testing.T) {
	for set := 36 * time.Hour; set < 60*time.Hour; set += 4 * time.Hour {
		o, err := Play(with(thirstyScript(), func(s *Script) {
			s.Mode = Several
			s.Mishaps = []Mishap{{Kind: "somebody asks for far too much", At: 24 * time.Hour}, {Kind: "clock jumps forward", At: set}}
			s.Restarts = []Restart{{At: set + 5*time.Minute, Down: 5 * time.Second, Reboot: true}}
		}))
		require.NoError(t, err)
		assert.Empty(t, o.Violations, "set at %v", set)
		assert.Equal(t, 1, o.Deaths)
	}
}

package runner

import (
	"testing"
	"time"

	"fabricpot/control/alarm"
	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
)

// TestProbeOutOfTheMix: a probe that hangs in the air falls from a dry pot's reading
// by so little that the fall is soon believed; that it reads no water at all is not.
// A wet floor beyond the wettest point of its calibration is nothing to tell of for
// hours.
func TestProbeOutOfTheMix(t *testing.T) {
	for _, c := range []struct {
		name  string
		water garden.WaterFraction
		told  bool
	}{
		{"in the air", 0, true},
		{"dry", 0.04, false},
		{"wet", 0.7, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := newWatch(&garden.Garden{})
			told := false
			for m := range 61 {
				now := garden.Moment{Mono: time.Duration(m) * time.Minute}
				r := garden.Reading{Probe: "n1", At: now, Quality: garden.Uncertain, Fault: garden.OutOfSpan, Water: c.water}
				if m < 12 && c.told {
					r.Quality, r.Fault = garden.Bad, garden.TooFast
				}
				w.probes(now, &garden.Observed{Readings: []garden.Reading{r}})
				for _, change := range w.book.Step(now) {
					if change.Kind == alarm.ProbeDoubtful && change.Event == alarm.Raised {
						told = true
						assert.LessOrEqual(t, m, 31)
					}
				}
			}
			assert.Equal(t, c.told, told)
		})
	}
}

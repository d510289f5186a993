package season

import (
	"testing"
	"time"

	"fabricpot/control/alarm"
	"fabricpot/control/garden"
	"fabricpot/sim/terrace"
	"fabricpot/testdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// arrivals hears of pots that get less water.
type arrivals struct {
	listener
	heard []alarm.Change
}

func (l *arrivals) Alarmed(c alarm.Change) {
	if c.Kind == alarm.LessArrives {
		l.heard = append(l.heard, c)
	}
}

// TestCloggedEmittersAreOneAlarm: half of a pot's emitters clog for weeks. It is
// told once, though the plants are watered around it and the gateway takes them for
// thirsty; in a pot as well that is fed every few days; and it ends when they are
// mended. That healthy pots raise none is in TestEstimatorOnTheBench.
func TestCloggedEmittersAreOneAlarm(t *testing.T) {
	if testing.Short() {
		t.Skip("whole months")
	}
	const day = 24 * time.Hour
	for _, c := range []struct {
		name                string
		zone                garden.ZoneID
		line                garden.LineID
		at                  int
		from, mended, until time.Duration
		within, gone        time.Duration
	}{
		{"never fed", "trough-bean", "bean", 2, 24 * day, 44 * day, 60 * day, 5 * day, 4 * day},
		{"fed every few days", "aubergine", "aubergine", 0, 40 * day, 60 * day, 85 * day, 12 * day, 20 * day},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			g := load(t, "terrace.yaml", testdata.Terrace)
			e := &arrivals{listener: listener{opened: map[garden.ZoneID][]opening{}}}
			b, err := NewBench(g, Options{Seed: 2, Start: time.Date(2014, 6, 1, 0, 0, 0, 0, g.Site.Zone), Tell: e,
				Weather: days(t, "seattle-weather.csv", g.Site.Zone), Terrace: terrace.DefaultOptions(2, nil)})
			require.NoError(t, err)
			require.NoError(t, b.Begin())
			b.RunTo(c.from)
			require.Empty(t, e.heard, "before anything broke")
			b.Terrace.BlockEmitters(c.line, c.at, 0.5)
			b.RunTo(c.mended)
			require.Len(t, e.heard, 1, "raised once, and up until it is mended")
			assert.Equal(t, alarm.Raised, e.heard[0].Event)
			assert.Equal(t, string(c.zone), e.heard[0].Subject)
			assert.LessOrEqual(t, e.heard[0].At.Mono-c.from, c.within)
			b.Terrace.BlockEmitters(c.line, c.at, 0)
			b.RunTo(c.until)
			require.Len(t, e.heard, 2, "and cleared once")
			assert.Equal(t, alarm.Cleared, e.heard[1].Event)
			assert.LessOrEqual(t, e.heard[1].At.Mono-c.mended, c.gone)
			b.End()
		})
	}
}

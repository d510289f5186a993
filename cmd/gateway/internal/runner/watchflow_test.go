package runner

import (
	"testing"
	"time"

	"fabricpot/control/alarm"
	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
)

// TestNoFlowEndsWithFlowOfItsOwn: water that may be another line's ends no alarm for
// one that gave nothing, but where the supply had given none to any.
func TestNoFlowEndsWithFlowOfItsOwn(t *testing.T) {
	lines := []garden.LineID{"a", "b", "c"}
	const rated, on = 10.0, 10 * time.Minute
	begin := func() (round func(lph, own float64, of ...garden.LineID) []string) {
		g := &garden.Garden{Supply: garden.Supply{MeterPulsesPerL: garden.Known(450)}}
		for _, id := range lines {
			g.Lines = append(g.Lines, garden.Line{ID: id, Outlets: []garden.Outlet{{Zone: garden.ZoneID(id), Emitters: 5, FlowLPH: rated / 5}}})
		}
		w := newWatch(g)
		var now garden.Moment
		return func(lph, own float64, of ...garden.LineID) (standing []string) {
			now.Mono += time.Hour
			for _, id := range of {
				w.judgeFlow(now, id, lph*on.Hours(), on, own)
			}
			if len(w.dry) > 1 {
				w.hold(now, alarm.SupplyGone, "", "")
			}
			for _, n := range w.noticed {
				w.hold(now, n.kind, n.subject, n.text)
				standing = append(standing, n.subject)
			}
			w.book.Step(now)
			return standing
		}
	}

	round := begin()
	assert.Equal(t, []string{"a"}, round(0, 0, "a"))
	assert.Equal(t, []string{"a"}, round(rated/2, 0, "a", "b"), "its share of the other's")
	assert.Equal(t, []string{"a"}, round(rated, 0, "b"))
	assert.Equal(t, []string{"a"}, round(rated, 0.3*rated, "a", "b"), "in the band")
	assert.Empty(t, round(rated, 0.5*rated, "a", "b"))

	round = begin()
	assert.Equal(t, lines, asLines(round(0, 0, lines...)))
	assert.Empty(t, round(rated, 0, lines...), "the supply is there again")
}

func asLines(ids []string) (out []garden.LineID) {
	for _, id := range ids {
		out = append(out, garden.LineID(id))
	}
	return out
}

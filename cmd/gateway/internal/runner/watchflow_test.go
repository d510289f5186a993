package runner

import (
	"testing"
	"time"

	"fabricpot/control/alarm"
	"fabricpot/control/garden"
	"fabricpot/valves"

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
				w.judgeFlow(now, id, now, lph*on.Hours(), on, own)
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

// TestFarTooHighFlowIsToldOfOneLine: of lines that run together one is named, and the
// one that showed it alone once that is known.
func TestFarTooHighFlowIsToldOfOneLine(t *testing.T) {
	g := &garden.Garden{Supply: garden.Supply{MeterPulsesPerL: garden.Known(450)}}
	for _, id := range []garden.LineID{"a", "b", "c"} {
		g.Lines = append(g.Lines, garden.Line{ID: id, Outlets: []garden.Outlet{{Zone: garden.ZoneID(id), Emitters: 5, FlowLPH: 2}}})
	}
	w := newWatch(g)
	var now garden.Moment
	round := func(times float64, open ...garden.LineID) (named []string) {
		now.Mono += time.Hour
		lines := make([]valves.Status, 0, 2)
		for _, id := range open {
			lines = append(lines, valves.Status{Line: id, Open: true, Metered: true, SoFarL: times * 10 / 6, OpenedAt: garden.Moment{Mono: now.Mono - 10*time.Minute}})
		}
		w.flow(now, &garden.Observed{}, lines, 0)
		for _, n := range w.noticed {
			named = append(named, n.subject)
		}
		return named
	}
	assert.Equal(t, []string{"a"}, round(2.5, "a", "b"))
	assert.Equal(t, []string{"b"}, round(2.5, "b"), "it shows it alone")
	assert.Equal(t, []string{"b"}, round(2.5, "a", "b"))
	assert.Equal(t, []string{"b"}, round(1, "a"))
	assert.Equal(t, []string{"b", "a"}, round(2.5, "a"), "each alone: two hoses")

	w = newWatch(g)
	assert.Equal(t, []string{"a"}, round(2.5, "a", "b"))
	assert.Equal(t, []string{"a", "b"}, round(2.5, "b", "c"), "the first is shut: it is another's")
}

// TestADryPumpIsToldOfBeforeItsLine: the pump's alarm names the line; once another
// gives water the line has its own, and is then what a dry run of it follows from.
func TestADryPumpIsToldOfBeforeItsLine(t *testing.T) {
	w := newWatch(&garden.Garden{Supply: garden.Supply{MeterPulsesPerL: garden.Known(450)}, Lines: []garden.Line{
		{ID: "a", Outlets: []garden.Outlet{{Zone: "a", Emitters: 5, FlowLPH: 2}}}, {ID: "b", Outlets: []garden.Outlet{{Zone: "b", Emitters: 5, FlowLPH: 2}}}}})
	var now garden.Moment
	round := func(dryFor ...garden.LineID) (stand []string) {
		now.Mono += 15 * time.Minute
		if len(dryFor) > 0 && !w.dryAlone(dryFor) {
			w.hold(now, alarm.PumpDry, "", w.forLines(dryFor))
		}
		for i := range w.noticed {
			w.keep(now, &w.noticed[i])
		}
		w.book.Step(now)
		for _, a := range w.book.List() {
			if a.Active {
				stand = append(stand, a.Kind.String()+a.Subject+a.Text)
			}
		}
		return stand
	}
	run := func(line garden.LineID, litres float64) {
		w.judgeFlow(now, line, now, litres, 10*time.Minute, litres*6)
	}
	assert.Equal(t, []string{"pump without flow for a"}, round("a"))
	run("a", 0)
	assert.Equal(t, []string{"pump without flow for a"}, round("a"))
	run("b", 10.0/6)
	round()
	stand := round()
	assert.Len(t, stand, 1)
	assert.Contains(t, stand[0], "no flowa")
	assert.Equal(t, stand, round("a"), "it is known")
	run("a", 0)
	assert.Equal(t, stand, round("a"))
	assert.Equal(t, []string{"pump without flow for a, b"}, round("b"), "and this is news")
	run("b", 0)
	assert.Equal(t, []string{"pump without flow for a, b"}, round("a"), "still")
}

func asLines(ids []string) (out []garden.LineID) {
	for _, id := range ids {
		out = append(out, garden.LineID(id))
	}
	return out
}

// TestAMeterInDoubtBlamesNoLine: not even once it counts again.
func TestAMeterInDoubtBlamesNoLine(t *testing.T) {
	w := newWatch(causesGarden())
	for m := range time.Duration(3) {
		now := garden.Moment{Mono: m * time.Minute}
		w.hold(now, alarm.GaugeDoubtful, meterName, "")
		w.judgeFlow(now, "lp", now, 0, 10*time.Minute, 0)
		w.flow(now, &garden.Observed{Delivered: []garden.Delivery{{Line: "lp", DoseDry: true}}}, nil, 0)
		w.book.Step(now)
	}
	assert.Empty(t, w.noticed)
	assert.Empty(t, w.dry)
}

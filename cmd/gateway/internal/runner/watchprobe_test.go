package runner

import (
	"slices"
	"testing"
	"time"

	"fabricpot/control"
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

// TestAFloodedPotIsToldOfOnce: where all probes of a pot read too wet for long it is
// told of as a whole, and stays so until none does; of one alone its plug is told. What
// was told of a plug stays told while the reading is outside its span.
func TestAFloodedPotIsToldOfOnce(t *testing.T) {
	const wet, soaked, dry = 0.62, 0.8, 0.05
	g := &garden.Garden{Mixes: []garden.Mix{{ID: "peat", Retention: garden.Retention{ThetaS: 0.7}}},
		Pots: []garden.Pot{{ID: "p", Mix: "peat", Zones: []garden.Zone{{ID: "p", Line: "l", Probes: []garden.Probe{{ID: "n0"}, {ID: "n1"}}}}}}}
	bare := false
	run := func(hours int, reads func(hour int, probe garden.ProbeID) float64) (told []string) {
		w := newWatch(g)
		for m := range hours * 60 {
			now := garden.Moment{Mono: time.Duration(m) * time.Minute}
			var obs garden.Observed
			for _, id := range []garden.ProbeID{"n0", "n1"} {
				r := garden.Reading{Probe: id, Zone: "p", At: now, Quality: garden.Good, Water: 0.4}
				if x := reads(m/60, id); x != 0 {
					r.Quality, r.Fault, r.Water = garden.Uncertain, garden.OutOfSpan, garden.WaterFraction(x)
				}
				obs.Readings = append(obs.Readings, r)
			}
			w.doubts.grows([]control.ZoneView{{Zone: "p", Empty: bare}})
			w.probes(now, &obs)
			for _, c := range w.book.Step(now) {
				if c.Event == alarm.Raised {
					told = append(told, c.Kind.String()+" "+c.Subject)
				}
			}
		}
		return told
	}
	assert.Equal(t, []string{"hardly dries p"}, run(40, func(h int, id garden.ProbeID) float64 {
		if id == "n1" && (h < 2 || h > 30) {
			return 0
		}
		return wet
	}), "both, one two hours later, and one dries first")
	assert.Equal(t, []string{"probe in doubt n1"}, run(40, func(_ int, id garden.ProbeID) float64 {
		if id == "n0" {
			return 0
		}
		return wet
	}))
	assert.Equal(t, []string{"hardly dries p"}, run(40, func(h int, id garden.ProbeID) float64 {
		if h > 20 {
			return soaked
		}
		return wet
	}), "told of already")
	assert.Equal(t, []string{"probe in doubt n0", "probe in doubt n1"}, run(40, func(h int, id garden.ProbeID) float64 {
		if h%5 < 2 {
			return soaked
		}
		return wet
	}), "more than the pores: the plugs")
	assert.Equal(t, []string{"probe in doubt n0"}, run(40, func(h int, id garden.ProbeID) float64 {
		if id == "n0" {
			return dry
		}
		return 0
	}))
	bare = true
	assert.Empty(t, run(40, func(h int, id garden.ProbeID) float64 { return dry }), "nothing grows in it")
	assert.Equal(t, []string{"hardly dries p"}, run(40, func(int, garden.ProbeID) float64 { return wet }), "too wet it may be all the same")
	bare = false
	assert.Equal(t, []string{"hardly dries p", "probe in doubt n0"}, run(40, func(h int, id garden.ProbeID) float64 {
		if h > 20 && id == "n0" {
			return -0.01
		}
		return wet
	}), "pulled out of a flooded pot")
	assert.Empty(t, run(11, func(int, garden.ProbeID) float64 { return wet }))
}

// TestDeafPotsAreASupply: where no meter can say so, pots of two lines that do not
// answer to their water have no supply, unless another was watered since.
func TestDeafPotsAreASupply(t *testing.T) {
	g := &garden.Garden{}
	for _, id := range []garden.ZoneID{"a", "b", "c"} {
		g.Lines = append(g.Lines, garden.Line{ID: garden.LineID("l" + id), Outlets: []garden.Outlet{{Zone: id, Emitters: 5, FlowLPH: 2}}})
		g.Pots = append(g.Pots, garden.Pot{ID: garden.PotID(id), Zones: []garden.Zone{{ID: id, Line: garden.LineID("l" + id), Probes: []garden.Probe{{ID: garden.ProbeID("n" + id)}}}}})
	}
	at := func(h float64) garden.Moment { return garden.Moment{Mono: time.Duration(h * float64(time.Hour))} }
	for _, c := range []struct {
		name    string
		dumb    []garden.ZoneID
		lastC   float64
		stands  string
		subject string
	}{
		{"one", []garden.ZoneID{"a"}, 1, "no response to water", "a"},
		{"two", []garden.ZoneID{"a", "b"}, 1, "no water from the supply", ""},
		{"two, and another after them", []garden.ZoneID{"a", "b"}, 21, "no response to water", "a"},
		{"all", []garden.ZoneID{"a", "b", "c"}, 21, "no water from the supply", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := newWatch(g)
			for m := range 5 {
				now := at(24 + float64(m)/60)
				for _, z := range c.dumb {
					if m == 0 {
						w.notice(now, alarm.ZoneNoResponse, string(z), "")
					}
				}
				for i := range w.noticed {
					w.keep(now, &w.noticed[i])
				}
				w.deaf(now, []control.ZoneView{{Zone: "a", Line: "la", LastAt: at(20), LastL: 1}, {Zone: "b", Line: "lb", LastAt: at(20.5), LastL: 1}, {Zone: "c", Line: "lc", LastAt: at(c.lastC), LastL: 1}, {Zone: "by hand", LastAt: at(22), LastL: 1}})
				w.book.Step(now)
			}
			list := w.book.List()
			list = slices.DeleteFunc(list, func(a alarm.Alarm) bool { return !a.Active })
			assert.Equal(t, c.stands, list[0].Kind.String())
			assert.Equal(t, c.subject, list[0].Subject)
			if c.stands == "no water from the supply" {
				assert.Len(t, list, 1)
			}
		})
	}
}

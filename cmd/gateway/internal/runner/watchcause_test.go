package runner

import (
	"testing"
	"time"

	"fabricpot/control"
	"fabricpot/control/alarm"
	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
)

// causesGarden has a pot on a far line and one on a near one, both with a probe.
func causesGarden() *garden.Garden {
	g := &garden.Garden{Supply: garden.Supply{MeterPulsesPerL: garden.Known(450)}}
	for _, id := range []string{"p", "q"} {
		g.Lines = append(g.Lines, garden.Line{ID: garden.LineID("l" + id), Outlets: []garden.Outlet{{Zone: garden.ZoneID(id), Emitters: 5, FlowLPH: 2}}})
		g.Pots = append(g.Pots, garden.Pot{ID: garden.PotID(id), Zones: []garden.Zone{{ID: garden.ZoneID(id), Line: garden.LineID("l" + id), Probes: []garden.Probe{{ID: garden.ProbeID("n" + id), Zone: garden.ZoneID(id)}}}}})
	}
	g.Lines[0].Valve.Kind = garden.RemoteValve
	return g
}

// TestWhatFollowsFromWhat: of each pair only the cause is told, whichever began first,
// and of the same pair elsewhere both are.
func TestWhatFollowsFromWhat(t *testing.T) {
	type cause = alarm.Cause
	for _, c := range []struct{ effect, of, elsewhere cause }{
		{cause{Kind: alarm.LinkLost}, cause{Kind: alarm.NotClosed, Subject: "lp"}, cause{Kind: alarm.NotClosed, Subject: "lq"}},
		{cause{Kind: alarm.OrderWithoutFlow, Subject: "lp"}, cause{Kind: alarm.PumpDry}, cause{}},
		{cause{Kind: alarm.OrderWithoutFlow, Subject: "lp"}, cause{Kind: alarm.SupplyGone}, cause{}},
		{cause{Kind: alarm.OrderWithoutFlow, Subject: "lp"}, cause{Kind: alarm.GaugeDoubtful, Subject: meterName}, cause{Kind: alarm.GaugeDoubtful, Subject: "rain"}},
		{cause{Kind: alarm.PumpDry}, cause{Kind: alarm.GaugeDoubtful, Subject: meterName}, cause{Kind: alarm.GaugeDoubtful, Subject: "rain"}},
		{cause{Kind: alarm.PumpDry}, cause{Kind: alarm.TankLow}, cause{}},
		{cause{Kind: alarm.ZoneNoResponse, Subject: "p"}, cause{Kind: alarm.NotClosed, Subject: "lp"}, cause{Kind: alarm.NotClosed, Subject: "lq"}},
		{cause{Kind: alarm.ZoneNoResponse, Subject: "p"}, cause{Kind: alarm.TankLow}, cause{}},
		{cause{Kind: alarm.LosesTooMuch, Subject: "p"}, cause{Kind: alarm.OrderWithoutFlow, Subject: "lp"}, cause{Kind: alarm.OrderWithoutFlow, Subject: "lq"}},
		{cause{Kind: alarm.LosesTooMuch, Subject: "p"}, cause{Kind: alarm.ProbeDoubtful, Subject: "np"}, cause{Kind: alarm.ProbeDoubtful, Subject: "nq"}},
		{cause{Kind: alarm.LosesTooLittle, Subject: "p"}, cause{Kind: alarm.ProbeDoubtful, Subject: "np"}, cause{Kind: alarm.ProbeDoubtful, Subject: "nq"}},
		{cause{Kind: alarm.LosesTooLittle, Subject: "p"}, cause{Kind: alarm.CapReached, Subject: "lp"}, cause{Kind: alarm.CapReached, Subject: "lq"}},
		{cause{Kind: alarm.CapReached, Subject: "lp"}, cause{Kind: alarm.ZoneNoResponse, Subject: "p"}, cause{Kind: alarm.ZoneNoResponse, Subject: "q"}},
		{cause{Kind: alarm.CapReached, Subject: "lp"}, cause{Kind: alarm.ProbeDead, Subject: "np"}, cause{Kind: alarm.ProbeDead, Subject: "nq"}},
		{cause{Kind: alarm.OnBalance, Subject: "p"}, cause{Kind: alarm.ZoneNoResponse, Subject: "p"}, cause{Kind: alarm.ZoneNoResponse, Subject: "q"}},
		{cause{Kind: alarm.OnBalance, Subject: "p"}, cause{Kind: alarm.FlowTooHigh, Subject: "lp"}, cause{Kind: alarm.FlowTooHigh, Subject: "lq"}},
		{cause{Kind: alarm.OnBalance, Subject: "p"}, cause{Kind: alarm.LosesTooMuch, Subject: "p"}, cause{Kind: alarm.LosesTooMuch, Subject: "q"}},
	} {
		told := func(of cause, from time.Duration) (standing []cause) {
			w := newWatch(causesGarden())
			for m := time.Duration(0); m < 20*time.Hour; m += time.Minute {
				now := garden.Moment{Mono: m}
				w.hold(now, c.effect.Kind, c.effect.Subject, "")
				if m >= from {
					w.hold(now, of.Kind, of.Subject, "")
				}
				w.book.Step(now)
			}
			for _, a := range w.book.List() {
				if a.Active {
					standing = append(standing, cause{Kind: a.Kind, Subject: a.Subject})
				}
			}
			return standing
		}
		assert.Equal(t, []cause{c.of}, told(c.of, 0), "%v of %v", c.effect, c.of)
		assert.Equal(t, []cause{c.of}, told(c.of, 5*time.Hour), "%v before %v", c.effect, c.of)
		if c.elsewhere != (cause{}) {
			assert.ElementsMatch(t, []cause{c.effect, c.elsewhere}, told(c.elsewhere, 0), "%v beside %v", c.effect, c.elsewhere)
		}
	}
}

// TestAPotWateredByReckoningIsNoSmallSupply: nor is one that was until lately.
func TestAPotWateredByReckoningIsNoSmallSupply(t *testing.T) {
	for name, c := range map[string]struct {
		reckoned, ended time.Duration // when it began and ended, 0 for never
		told            bool
	}{"on its probe": {0, 0, true}, "by reckoning": {time.Hour, 0, false}, "until lately": {time.Hour, 20 * time.Hour, false}} {
		t.Run(name, func(t *testing.T) {
			w := newWatch(causesGarden())
			for m := time.Minute; m < 30*time.Hour; m += time.Minute {
				now := garden.Moment{Mono: m}
				if m == c.reckoned {
					w.notice(now, alarm.OnBalance, "q", "")
				}
				if m == c.ended {
					w.noticed = nil
					w.supplies.reckoned["q"] = m
				}
				under := 0.0
				if m > 21*time.Hour {
					under = -1
				}
				w.short(now, []control.Waiting{{Line: "lq"}}, []control.ZoneView{{Zone: "q", Line: "lq", Known: true, ToRefillL: under}}, false)
			}
			assert.Equal(t, c.told, w.stands(alarm.SupplyShort, ""))
		})
	}
}

// TestAnEmptyPotIsNoSmallSupply: nothing grows there that could want the water.
func TestAnEmptyPotIsNoSmallSupply(t *testing.T) {
	for _, empty := range []bool{false, true} {
		w := newWatch(causesGarden())
		for m := time.Minute; m < 4*time.Hour; m += time.Minute {
			w.short(garden.Moment{Mono: m}, []control.Waiting{{Line: "lq"}}, []control.ZoneView{{Zone: "q", Line: "lq", Known: true, Empty: empty, ToRefillL: -1}}, false)
		}
		assert.Equal(t, !empty, w.stands(alarm.SupplyShort, ""))
	}
}

// TestAProbeThatCameBackEndsItsPotsAlarm: until then it stands, however long, and through
// another version of the garden, where the probe is still one of it.
func TestAProbeThatCameBackEndsItsPotsAlarm(t *testing.T) {
	for name, c := range map[string]struct {
		gone   bool // the probe, in the new garden
		stands bool
	}{"the same probe": {false, true}, "another probe": {true, false}} {
		t.Run(name, func(t *testing.T) {
			w := newWatch(causesGarden())
			w.doubts.mute["nq"] = true
			w.notice(garden.Moment{}, alarm.ZoneNoResponse, "q", "")
			g := causesGarden()
			if c.gone {
				g.Pots[1].Zones[0].Probes[0].ID = "new"
			}
			w.follow(newWatch(g))
			st := &control.State{}
			w.events(garden.Moment{Mono: 3 * eventHolds}, st)
			assert.Equal(t, c.stands, w.stands(alarm.ZoneNoResponse, "q"))
		})
	}
}

// TestAProbeInDoubtForAMomentHidesNoLimit: what is noticed once and not told is lost, and
// a probe is in doubt for a moment now and then.
func TestAProbeInDoubtForAMomentHidesNoLimit(t *testing.T) {
	w := newWatch(causesGarden())
	told := 0
	for m := time.Duration(0); m < 3*time.Hour; m += time.Minute {
		now := garden.Moment{Mono: m}
		if m == time.Hour {
			w.hold(now, alarm.ProbeDoubtful, "nq", "too noisy")
			w.event(now, nil, &control.Event{Kind: control.CapHolds, Line: "lq"})
			w.event(now, nil, &control.Event{Kind: control.DrinksLess, Zone: "q"})
		}
		for i := range w.noticed {
			w.keep(now, &w.noticed[i])
		}
		for _, c := range w.book.Step(now) {
			if c.Event == alarm.Raised {
				told++
				assert.Equal(t, alarm.CapReached, c.Kind, "and what hardly dries follows from that")
			}
		}
	}
	assert.Equal(t, 1, told)
	assert.True(t, w.stands(alarm.LosesTooLittle, "q"))
}

// TestALimitOfSeveralPotsIsNotOneProbes: of a line that waters others too.
func TestALimitOfSeveralPotsIsNotOneProbes(t *testing.T) {
	g := causesGarden()
	g.Pots[0].Zones[0].Line = "lq"
	w := newWatch(g)
	for m := time.Duration(0); m < 3*time.Hour; m += time.Minute {
		now := garden.Moment{Mono: m}
		w.hold(now, alarm.ProbeDead, "nq", "")
		w.hold(now, alarm.CapReached, "lq", "")
		w.book.Step(now)
	}
	assert.Len(t, w.book.List(), 2)
}

// TestAFloatInDoubtExplainsNothing: it says empty while the meter counts, for weeks. What
// is given meanwhile may be too little, no more.
func TestAFloatInDoubtExplainsNothing(t *testing.T) {
	for _, doubted := range []bool{false, true} {
		w := newWatch(causesGarden())
		w.floatDoubted = doubted
		for m := time.Duration(0); m < 3*time.Hour; m += time.Minute {
			now := garden.Moment{Mono: m}
			w.hold(now, alarm.TankLow, "", "")
			w.hold(now, alarm.LosesTooMuch, "q", "")
			assert.Equal(t, !doubted, w.follows(alarm.LosesTooMuch, "q"))
			assert.True(t, w.follows(alarm.SupplyShort, ""), "lines are tried seldom")
			w.book.Step(now)
		}
		assert.Len(t, w.book.List(), map[bool]int{false: 1, true: 2}[doubted])
	}
}

// TestAProbeThatMovesSpeaksForItsWater: with it the pot's alarm ends, and another of its
// probes that has not moved is at fault itself, for as long as it does not.
func TestAProbeThatMovesSpeaksForItsWater(t *testing.T) {
	g := causesGarden()
	g.Pots[1].Zones[0].Probes = append(g.Pots[1].Zones[0].Probes, garden.Probe{ID: "deep", Zone: "q"})
	w := newWatch(g)
	var now garden.Moment
	st := &control.State{}
	w.event(now, st, &control.Event{Kind: control.ZoneNoResponse, Zone: "q"})
	for _, id := range []garden.ProbeID{"nq", "deep"} {
		w.event(now, st, &control.Event{Kind: control.ProbeNoResponse, Zone: "q", Probe: id})
	}
	assert.True(t, w.stands(alarm.ZoneNoResponse, "q"))
	assert.Len(t, w.noticed, 1)
	now.Mono += 3 * eventHolds
	w.events(now, st)
	assert.True(t, w.stands(alarm.ZoneNoResponse, "q"), "nothing moved yet")
	w.event(now, st, &control.Event{Kind: control.ProbeBack, Zone: "q", Probe: "nq"})
	assert.False(t, w.stands(alarm.ZoneNoResponse, "q"))
	assert.True(t, w.stands(alarm.ProbeDoubtful, "deep"))
	now.Mono += 3 * eventHolds
	w.events(now, st)
	assert.True(t, w.stands(alarm.ProbeDoubtful, "deep"))
	w.event(now, st, &control.Event{Kind: control.ProbeBack, Zone: "q", Probe: "deep"})
	assert.Empty(t, w.noticed)
	w.event(now, st, &control.Event{Kind: control.OnBalance, Zone: "q"})
	w.event(now, st, &control.Event{Kind: control.OnProbe, Zone: "q"})
	assert.Empty(t, w.noticed)
	assert.True(t, w.reckonedLately(now, "q"))
}

// TestAReadingThatIsTooWetIsOneAlarm: that its pot is watered by reckoning follows from
// it, and it from water that nobody ordered.
func TestAReadingThatIsTooWetIsOneAlarm(t *testing.T) {
	for name, c := range map[string]struct {
		stray bool
		probe garden.ProbeID
		want  []alarm.Kind
	}{
		"one probe":            {false, "nq", []alarm.Kind{alarm.ProbeDoubtful}},
		"several":              {false, "", []alarm.Kind{alarm.LosesTooLittle}},
		"beside stray water":   {true, "nq", []alarm.Kind{alarm.FlowWithoutOrder}},
		"several beside stray": {true, "", []alarm.Kind{alarm.FlowWithoutOrder}},
	} {
		t.Run(name, func(t *testing.T) {
			w := newWatch(causesGarden())
			var told []alarm.Kind
			for m := time.Duration(0); m < 8*time.Hour; m += time.Minute {
				now := garden.Moment{Mono: m}
				if c.stray {
					w.hold(now, alarm.FlowWithoutOrder, "", "")
				}
				if m == time.Hour {
					w.event(now, nil, &control.Event{Kind: control.ReadsWet, Zone: "q", Probe: c.probe})
					w.event(now, nil, &control.Event{Kind: control.OnBalance, Zone: "q"})
				}
				for i := range w.noticed {
					w.keep(now, &w.noticed[i])
				}
				for _, change := range w.book.Step(now) {
					if change.Event == alarm.Raised {
						told = append(told, change.Kind)
					}
				}
			}
			assert.Equal(t, c.want, told)
		})
	}
}

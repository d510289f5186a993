package control

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
)

func TestHours(t *testing.T) {
	hot := func(b *bench) { b.obs.Today = garden.DayWeather{TMinC: garden.Known(20), TMaxC: garden.Known(36)} }
	morning := []garden.DayWindow{{From: 5 * time.Hour, To: 9 * time.Hour}}
	t.Run("nothing outside them", func(t *testing.T) {
		g := testGarden(2, 40)
		g.Supply.Hours = morning
		b := newBench(t, g)
		hot(b)
		for range 5 * 24 * 60 {
			if o := b.tick(); len(o) > 0 {
				h := b.now.Wall.Hour()
				require.True(t, h >= 5 && h < 9, "ordered at %s", b.now.Wall)
				end := b.now.Wall.Add(hours(o[0].Litres / 8))
				require.False(t, end.Hour() > 9 || end.Hour() == 9 && end.Minute() > 0, "runs until %s", end)
			}
		}
		assert.NotEmpty(t, b.log)
		for i := range b.mean {
			assert.Greater(t, b.mean[i], float64(b.p.zones[i].Refill)-0.02)
		}
	})
	t.Run("water ahead of closed hours", func(t *testing.T) {
		g := testGarden(1, 40)
		g.Supply.Hours = morning
		b := newBench(t, g)
		hot(b)
		b.run(4 * 24 * time.Hour)
		ahead := 0
		for _, o := range b.log {
			if o.Why.Code == garden.BeforeClosedHours {
				ahead++
				assert.NotEmpty(t, o.Why.String())
			}
		}
		assert.Positive(t, ahead)
	})
	t.Run("an unconfirmed clock has no hours", func(t *testing.T) {
		g := testGarden(1, 22)
		g.Supply.Hours = []garden.DayWindow{{From: 0, To: time.Minute}}
		b := still(t, g)
		b.now.Synced = false
		b.dry(0, 1.2)
		_, at := b.until(10)
		assert.GreaterOrEqual(t, at, 0, "watering by probe does not wait for a clock")
	})
}

func TestSupplyIsSharedAndNobodyStarves(t *testing.T) {
	g := testGarden(6, 22)
	g.Supply.FlowLPH = 17 // two lines of 8 L/h
	b := newBench(t, g)
	for i := range b.mean {
		b.dry(i, 1.05+0.05*float64(i))
	}
	first := map[garden.LineID]bool{}
	for range 24 * 60 {
		b.tick()
		flow := 0.0
		for id := range b.open {
			flow += b.p.lines[b.p.lineIndex(id)].FlowLPH
			first[id] = true
		}
		require.LessOrEqual(t, flow, 17.0)
	}
	assert.Len(t, first, 6, "each had its turn")
	for _, o := range b.log[:2] {
		assert.Contains(t, []garden.LineID{"line-pot5", "line-pot4"}, o.Line, "the neediest first")
	}
	t.Run("an unknown supply carries one line", func(t *testing.T) {
		g := testGarden(3, 22)
		g.Supply.FlowLPH = 0
		b := newBench(t, g)
		for i := range b.mean {
			b.dry(i, 1.3)
		}
		for range 600 {
			b.tick()
			require.LessOrEqual(t, len(b.open), 1)
		}
		assert.NotEmpty(t, b.log)
	})
}

// shared is two pots on one line, with emitters in these numbers.
func shared(a, b int) *garden.Garden {
	g := testGarden(2, 40)
	g.Lines = g.Lines[:1]
	g.Pots[1].Zones[0].Line = g.Lines[0].ID
	g.Lines[0].Outlets = []garden.Outlet{{Zone: "pot0", Emitters: a, FlowLPH: 4}, {Zone: "pot1", Emitters: b, FlowLPH: 4}}
	return g
}

func TestSharedLineGoesByTheNeediest(t *testing.T) {
	t.Run("alike: both filled, litres divided by uniformity", func(t *testing.T) {
		b := still(t, shared(2, 2))
		b.dry(0, 1.1)
		b.dry(1, 1.1)
		b.run(8 * time.Hour)
		z := &b.p.zones[0]
		total := 0.0
		for _, o := range b.log {
			total += o.Litres
		}
		need := (float64(z.Stop) - float64(z.Capacity) + 1.1*z.band(1)) * z.VolumeL
		assert.InDelta(t, 2*need/0.9, total, 0.8)
	})
	t.Run("one full: it is not drowned for the other", func(t *testing.T) {
		b := still(t, shared(2, 2))
		b.dry(0, 1.1)
		b.run(5 * time.Hour)
		require.NotEmpty(t, b.log)
		assert.Equal(t, garden.ZoneID("pot0"), b.log[0].Zone)
		assert.Greater(t, b.mean[0], float64(b.p.zones[0].Refill)+0.2*b.p.zones[0].band(1), "the dry one is at least half helped")
		z := &b.p.zones[1]
		assert.Less(t, b.drained, 0.75*z.band(1)*z.VolumeL)
	})
	t.Run("one kept shut keeps the line shut", func(t *testing.T) {
		b := still(t, shared(2, 2))
		b.dry(0, 1.2)
		b.obs.Asks = []garden.Ask{{Kind: garden.AskShut, Zone: "pot1"}}
		b.run(3 * time.Hour)
		assert.Empty(t, b.log)
	})
}

func TestWithoutAProbeItLivesOnTheBalance(t *testing.T) {
	b := newBench(t, testGarden(1, 22))
	b.quality = garden.Bad
	b.run(12 * 24 * time.Hour)
	require.NotEmpty(t, b.log)
	z := &b.p.zones[0]
	for _, o := range b.log {
		assert.Equal(t, garden.Estimated, o.Kind)
	}
	assert.Equal(t, garden.BalanceSaysDry, b.log[0].Why.Code)
	// 110–120 % of what the book says is lost, once the start is behind.
	given, lost := 0.0, b.st.zones[0].spent*z.VolumeL
	for _, o := range b.log {
		given += o.Litres
	}
	start := 0.5 * z.band(1) * z.VolumeL // what it did not know it had
	assert.Greater(t, given*b.p.lines[0].DU, 1.0*lost-start)
	assert.Less(t, given*b.p.lines[0].DU, 1.2*lost+2*start)
	assert.Greater(t, b.mean[0], float64(z.Refill)-0.01, "and the plant never noticed")
}

func TestEstimatedHasItsOwnBudget(t *testing.T) {
	b := newBench(t, testGarden(1, 22))
	b.quality = garden.Bad
	b.obs.Today = garden.DayWeather{TMinC: garden.Known(25), TMaxC: garden.Known(45)}
	for range 10 {
		n := len(b.log)
		b.run(24 * time.Hour)
		day := 0.0
		for _, o := range b.log[n:] {
			day += o.Litres
		}
		assert.LessOrEqual(t, day, 2*b.p.lines[0].EstimatedL)
		assert.LessOrEqual(t, b.st.lines[0].guessed.sum(b.now.Mono), b.p.lines[0].EstimatedL+0.2)
	}
}

func TestAutomaticOffLeavesSurvivalDoses(t *testing.T) {
	b := newBench(t, testGarden(1, 22))
	b.dry(0, 1.3)
	b.obs.Asks = []garden.Ask{{Kind: garden.AskAutoOff}}
	b.run(6 * 24 * time.Hour)
	require.NotEmpty(t, b.log)
	assert.LessOrEqual(t, len(b.log), 7)
	for _, o := range b.log {
		assert.Equal(t, garden.Survival, o.Kind)
		assert.LessOrEqual(t, o.Litres, 0.04*75+1e-9)
	}
	b.obs.Asks = append(b.obs.Asks, garden.Ask{Kind: garden.AskAutoOn})
	n := len(b.log)
	b.dry(0, 1.4)
	b.run(24 * time.Hour)
	require.Greater(t, len(b.log), n)
	assert.Equal(t, garden.Irrigate, b.log[len(b.log)-1].Kind)
}

func TestAutomaticOffStopsWhatRuns(t *testing.T) {
	b := still(t, testGarden(1, 22))
	b.dry(0, 1.2)
	_, at := b.until(10)
	require.GreaterOrEqual(t, at, 0)
	b.st.AutoOff = true // the caller may set it, too
	b.tick()
	assert.Len(t, b.st.Stops(), 1)
}

func TestAsks(t *testing.T) {
	ask := func(b *bench, a garden.Ask) { b.obs.Asks = append(b.obs.Asks, a) }
	t.Run("water by amount", func(t *testing.T) {
		b := still(t, testGarden(2, 22))
		ask(b, garden.Ask{Kind: garden.AskWater, Zone: "pot1", Litres: 2.5})
		b.run(5 * time.Hour)
		require.Len(t, b.log, 1)
		assert.Equal(t, garden.ByHand, b.log[0].Kind)
		assert.Equal(t, garden.LineID("line-pot1"), b.log[0].Line)
		assert.InDelta(t, 2.5, b.log[0].Litres, 1e-9)
	})
	t.Run("more than one opening carries comes in several", func(t *testing.T) {
		b := still(t, testGarden(1, 22))
		ask(b, garden.Ask{Kind: garden.AskWater, Zone: "pot0", Litres: 12.5})
		b.run(12 * time.Hour)
		total := 0.0
		for _, o := range b.log {
			assert.LessOrEqual(t, o.MaxOn, 90*time.Minute)
			total += o.Litres
		}
		assert.Greater(t, len(b.log), 1)
		assert.InDelta(t, min(12.5, b.p.lines[0].CapL), total, 0.3)
	})
	t.Run("a person does not wait for the look at rest after a stop", func(t *testing.T) {
		b := still(t, testGarden(1, 22))
		ask(b, garden.Ask{Kind: garden.AskWater, Zone: "pot0", Litres: 2.5})
		b.run(2 * time.Minute)
		require.Len(t, b.log, 1)
		b.close(b.log[0], garden.Stopped)
		b.run(10 * time.Minute)
		require.Len(t, b.log, 1, "what was stopped does not go on by itself")
		ask(b, garden.Ask{Kind: garden.AskWater, Zone: "pot0", Litres: 1.5})
		b.run(2 * time.Minute)
		require.Len(t, b.log, 2)
		assert.InDelta(t, 1.5, b.log[1].Litres, 1e-9)
	})
	t.Run("turning off means the water asked for before, too", func(t *testing.T) {
		b := still(t, testGarden(1, 22))
		ask(b, garden.Ask{Kind: garden.AskWater, Zone: "pot0", Litres: 2.5})
		ask(b, garden.Ask{Kind: garden.AskAutoOff})
		b.run(10 * time.Minute)
		assert.Empty(t, b.log)
		ask(b, garden.Ask{Kind: garden.AskWater, Zone: "pot0", Litres: 2.5})
		b.run(2 * time.Minute)
		assert.Len(t, b.log, 1, "what is asked for afterwards counts")
	})
	t.Run("a wish that nobody could meet within the hour is given up", func(t *testing.T) {
		g := testGarden(1, 22)
		g.Supply.Hours = []garden.DayWindow{{From: 6 * time.Hour, To: 7 * time.Hour}}
		b := still(t, g)
		ask(b, garden.Ask{Kind: garden.AskWater, Zone: "pot0", Litres: 2.5})
		b.tick()
		require.Len(t, b.events, 1)
		assert.Equal(t, "2.5 L asked for pot0 were not given: outside the hours when watering is allowed, which begin at 06:00", b.events[0].String(),
			"six hours are longer than a wish waits: said at once")
		assert.Zero(t, b.p.View(b.st, b.now, nil)[0].AskedL)
		b.run(24 * time.Hour)
		for _, o := range b.log {
			assert.NotEqual(t, garden.ByHand, o.Kind)
		}
	})
	t.Run("a wish that the hours let wait is shown, and given when they begin", func(t *testing.T) {
		g := testGarden(1, 22)
		g.Supply.Hours = []garden.DayWindow{{From: 45 * time.Minute, To: 2 * time.Hour}}
		b := still(t, g)
		ask(b, garden.Ask{Kind: garden.AskWater, Zone: "pot0", Litres: 2.5})
		b.run(30 * time.Minute)
		v := b.p.View(b.st, b.now, nil)[0]
		assert.InDelta(t, 2.5, v.AskedL, 1e-9)
		assert.Equal(t, garden.OutsideHours, v.AskedWaits)
		assert.InDelta(t, 31, (v.AskedTill - b.now.Mono).Minutes(), 1)
		b.run(30 * time.Minute)
		require.Len(t, b.log, 1)
		assert.Equal(t, garden.ByHand, b.log[0].Kind)
		assert.Empty(t, b.events)
	})
	t.Run("what the end of the hours cuts off is told", func(t *testing.T) {
		g := testGarden(1, 22)
		g.Supply.Hours = []garden.DayWindow{{From: 0, To: 12 * time.Minute}}
		b := still(t, g)
		ask(b, garden.Ask{Kind: garden.AskWater, Zone: "pot0", Litres: 2.5})
		b.run(2 * time.Hour)
		require.Len(t, b.log, 1)
		require.Len(t, b.events, 1)
		assert.Equal(t, Dropped, b.events[0].Kind)
		assert.Equal(t, garden.OutsideHours, b.events[0].Cause)
		assert.InDelta(t, 2.5-b.gave[0].Litres, b.events[0].A, 1e-9)
	})
	t.Run("a wish given up says what it waited for", func(t *testing.T) {
		b := still(t, testGarden(1, 22))
		b.p.Lend(b.st, "line-pot0", false)
		ask(b, garden.Ask{Kind: garden.AskWater, Zone: "pot0", Litres: 2.5})
		b.run(2 * time.Hour)
		require.Len(t, b.events, 1)
		assert.Equal(t, garden.LentToFeed, b.events[0].Cause)
		b.st.TakeBack()
		for cause, first := range map[garden.RefusalCause]garden.AskKind{garden.HeldShut: garden.AskShut, garden.ControlOff: garden.AskAutoOff} {
			b := still(t, testGarden(1, 22))
			b.p.Lend(b.st, "line-pot0", false)
			ask(b, garden.Ask{Kind: garden.AskWater, Zone: "pot0", Litres: 2.5})
			b.tick()
			ask(b, garden.Ask{Kind: first, Zone: "pot0"})
			b.tick()
			require.Len(t, b.events, 1)
			assert.Equal(t, cause, b.events[0].Cause)
		}
	})
	t.Run("what is given up in a soak is told whole", func(t *testing.T) {
		// 12.5 L take more than two openings of 45 minutes; the line has one zone, so its litres are the zone's.
		for cause, give := range map[garden.RefusalCause]func(*bench){
			garden.Replaced:   func(b *bench) { ask(b, garden.Ask{Kind: garden.AskWater, Zone: "pot0", Litres: 1}) },
			garden.ControlOff: func(b *bench) { ask(b, garden.Ask{Kind: garden.AskAutoOff}) },
			garden.HeldShut: func(b *bench) {
				ask(b, garden.Ask{Kind: garden.AskShut, Zone: "pot0", Until: b.now.Add(time.Hour)})
			},
			garden.Withdrawn: func(b *bench) {
				b.p.Forget(b.st, b.now, "pot0")
				b.st = b.st.Clone()
			},
			garden.CapReached: func(b *bench) { b.st.lines[0].given.add(b.now.Mono, b.p.lines[0].CapL) },
		} {
			g := testGarden(1, 22)
			g.Limits.MaxOn = 45 * time.Minute
			b := still(t, g)
			ask(b, garden.Ask{Kind: garden.AskWater, Zone: "pot0", Litres: 12.5})
			for k := 0; k < 180 && b.st.lines[0].phase != garden.Soaking; k++ {
				b.tick()
			}
			require.Equal(t, garden.Soaking, b.st.lines[0].phase)
			require.Less(t, b.gave[0].Litres, 6.0)
			b.events = nil
			give(b)
			b.run(time.Hour)
			told := b.dropped()
			require.Len(t, told, 1, "%v", cause)
			assert.Equal(t, cause, told[0].Cause)
			assert.InDelta(t, 12.5-b.gave[0].Litres, told[0].A, 1e-9, "%v", cause)
		}
	})
	t.Run("what is given up with the line open is told whole", func(t *testing.T) {
		stop := func(b *bench, with func(*garden.Delivery), end garden.Ending) {
			b.told = with
			b.close(b.log[0], end)
			b.told = nil
		}
		for cause, give := range map[garden.RefusalCause]func(*bench){
			garden.Withdrawn: func(b *bench) {
				b.p.Forget(b.st, b.now, "pot0")
				stop(b, nil, garden.Stopped)
			},
			garden.ControlOff: func(b *bench) { // what runs may end; what would follow does not
				ask(b, garden.Ask{Kind: garden.AskAutoOff})
				b.tick()
				stop(b, nil, garden.Complete)
			},
			garden.HeldShut: func(b *bench) {
				ask(b, garden.Ask{Kind: garden.AskShut, Zone: "pot0", Until: b.now.Add(time.Hour)})
				stop(b, nil, garden.Stopped)
			},
			garden.PumpLocked:   func(b *bench) { stop(b, func(d *garden.Delivery) { d.PumpDry = true }, garden.Stopped) },
			garden.TankEmpty:    func(b *bench) { stop(b, func(d *garden.Delivery) { d.TankLow = true }, garden.Stopped) },
			garden.DeviceFault:  func(b *bench) { stop(b, nil, garden.Faulted) },
			garden.NotConfirmed: func(b *bench) { stop(b, nil, garden.Unfinished) },
		} {
			g := testGarden(1, 22)
			g.Limits.MaxOn = 45 * time.Minute
			b := still(t, g)
			ask(b, garden.Ask{Kind: garden.AskWater, Zone: "pot0", Litres: 12.5})
			b.run(20 * time.Minute)
			require.Equal(t, garden.Pulsing, b.st.lines[0].phase)
			b.events = nil
			give(b)
			b.run(2 * time.Hour)
			require.Len(t, b.log, 1, "%v", cause)
			told := b.dropped()
			require.Len(t, told, 1, "%v", cause)
			assert.Equal(t, cause, told[0].Cause)
			assert.True(t, told[0].Begun)
			assert.InDelta(t, 12.5-b.gave[0].Litres, told[0].A, 1e-9, "%v", cause)
		}
	})
	t.Run("a wish that a line refuses is told whole", func(t *testing.T) {
		b := still(t, testGarden(1, 22))
		ask(b, garden.Ask{Kind: garden.AskWater, Zone: "pot0", Litres: 12.5})
		b.tick()
		require.Len(t, b.log, 1)
		o := b.log[0]
		require.Less(t, o.Litres, 12.0)
		delete(b.open, o.Line)
		b.obs.Refused = append(b.obs.Refused, garden.Refusal{Order: o.ID, Line: o.Line, Zone: o.Zone, Cause: garden.TankEmpty})
		b.tick()
		require.Len(t, b.events, 1)
		assert.InDelta(t, 12.5, b.events[0].A, 1e-9)
		assert.False(t, b.events[0].Begun)
	})
	t.Run("a later opening that a line refuses is of a wish that was met", func(t *testing.T) {
		g := testGarden(1, 22)
		g.Limits.MaxOn = 45 * time.Minute
		b := still(t, g)
		ask(b, garden.Ask{Kind: garden.AskWater, Zone: "pot0", Litres: 12.5})
		for k := 0; k < 300 && len(b.log) < 2; k++ {
			b.tick()
		}
		require.Len(t, b.log, 2)
		o := b.log[1]
		delete(b.open, o.Line)
		b.obs.Refused = append(b.obs.Refused, garden.Refusal{Order: o.ID, Line: o.Line, Zone: o.Zone, Cause: garden.TankEmpty})
		b.events = nil
		b.tick()
		require.Len(t, b.events, 1)
		assert.True(t, b.events[0].Refused && b.events[0].Begun)
		assert.InDelta(t, 12.5-b.gave[0].Litres, b.events[0].A, 1e-9)
	})
	t.Run("water that names no pot is no wish", func(t *testing.T) {
		b := still(t, testGarden(1, 22))
		ask(b, garden.Ask{Kind: garden.AskWater, Litres: 2.5})
		b.run(time.Hour)
		assert.Empty(t, b.log)
	})
	t.Run("shut until", func(t *testing.T) {
		b := still(t, testGarden(1, 22))
		b.dry(0, 1.3)
		ask(b, garden.Ask{Kind: garden.AskShut, Zone: "pot0", Until: b.now.Add(2 * time.Hour)})
		b.run(119 * time.Minute)
		assert.Empty(t, b.log)
		assert.Equal(t, garden.KeptShut, b.p.View(b.st, b.now, nil)[0].State)
		_, at := b.until(10)
		assert.GreaterOrEqual(t, at, 0)
	})
	t.Run("shut stops what runs, release ends it", func(t *testing.T) {
		b := still(t, testGarden(1, 22))
		b.dry(0, 1.3)
		_, at := b.until(10)
		require.GreaterOrEqual(t, at, 0)
		ask(b, garden.Ask{Kind: garden.AskShut, Zone: ""})
		b.tick()
		require.Len(t, b.st.Stops(), 1)
		b.run(24 * time.Hour)
		require.Len(t, b.log, 1)
		ask(b, garden.Ask{Kind: garden.AskRelease})
		b.dry(0, 1.3)
		_, at = b.until(600)
		assert.GreaterOrEqual(t, at, 0)
	})
	t.Run("watered by hand counts", func(t *testing.T) {
		b := still(t, testGarden(1, 40))
		b.dry(0, 0.95)
		b.run(20 * time.Minute)
		before := b.p.View(b.st, b.now, nil)[0].HeldL
		ask(b, garden.Ask{Kind: garden.GardenerWatered, Zone: "pot0", Litres: 5})
		b.tick()
		v := b.p.View(b.st, b.now, nil)[0]
		assert.InDelta(t, before+5, v.HeldL, 0.05)
		assert.InDelta(t, 5, v.LastL, 1e-9)
	})
}

func TestHandTendedIsTrackedAndGetsNoOrder(t *testing.T) {
	g := testGarden(1, 22)
	g.Pots[0].Zones[0].Line = ""
	g.Lines = nil
	b := newBench(t, g)
	b.run(10 * 24 * time.Hour)
	assert.Empty(t, b.log)
	v := b.p.View(b.st, b.now, nil)[0]
	assert.True(t, v.Known)
	assert.Less(t, v.ToRefillL, 0.0)
	assert.Zero(t, v.HoursToRefill)
	assert.InDelta(t, b.mean[0], float64(v.Water), 0.03)
}

func TestRestartRepeatsNothing(t *testing.T) {
	b := still(t, testGarden(1, 22))
	b.now.Mono = time.Minute
	past := garden.Delivery{
		Order: 7, Line: "line-pot0", Zone: "pot0", Kind: garden.Survival, Litres: 3,
		ClosedAt: garden.Moment{Mono: 900 * time.Hour, Wall: b.now.Wall.Add(-2 * time.Hour), Synced: true}, End: garden.Complete,
	}
	cap := b.p.lines[0].CapL
	full := past
	full.Kind, full.Litres = garden.Irrigate, cap
	for _, c := range []struct {
		name   string
		recent []garden.Delivery
		off    bool
	}{
		{"the cap counts on", []garden.Delivery{full}, false},
		{"the survival dose counts on", []garden.Delivery{past}, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := still(t, testGarden(1, 22))
			b.now.Mono = time.Minute
			b.st.AutoOff = c.off
			b.p.Restore(b.st, b.now, c.recent)
			b.dry(0, 1.4)
			b.run(21 * time.Hour)
			assert.Empty(t, b.log)
			b.dry(0, 1.4)
			b.run(4 * time.Hour)
			assert.NotEmpty(t, b.log)
		})
	}
	t.Run("a clock that is not to be trusted counts from now", func(t *testing.T) {
		b := still(t, testGarden(1, 22))
		old := full
		old.ClosedAt.Wall = old.ClosedAt.Wall.Add(-90 * time.Hour)
		b.now.Synced = false
		b.p.Restore(b.st, b.now, []garden.Delivery{old})
		assert.InDelta(t, cap, b.st.lines[0].given.sum(b.now.Mono), 1e-9)
	})
}

func TestAnOrderNobodyHeardOfIsTakenAsGiven(t *testing.T) {
	b := still(t, testGarden(1, 22))
	b.dry(0, 1.2)
	o, at := b.until(10)
	require.GreaterOrEqual(t, at, 0)
	delete(b.open, o.Line) // the delivery is lost
	b.run(o.MaxOn + lostAfter + 2*time.Minute)
	assert.InDelta(t, o.Litres, b.st.lines[0].given.sum(b.now.Mono), 1e-9)
	found := false
	for _, e := range b.events {
		found = found || e.Kind == OrderLost
	}
	assert.True(t, found)
}

func TestRainIsCredited(t *testing.T) {
	b := still(t, testGarden(1, 40))
	b.dry(0, 0.8)
	b.run(30 * time.Minute)
	before := b.p.View(b.st, b.now, nil)[0].HeldL
	b.obs.Now.RainMM = garden.Known(10)
	b.tick()
	b.obs.Now.RainMM = garden.Known(0)
	z := &b.p.zones[0]
	// 10 mm on 0.166 m² are 1.66 L; the canopy sheds a part.
	got := b.p.View(b.st, b.now, nil)[0].HeldL - before
	assert.Greater(t, got, 0.4*10*z.AreaM2)
	assert.LessOrEqual(t, got, 10*z.AreaM2)
}

func TestWindow(t *testing.T) {
	at := func(h, m int) time.Time { return time.Date(2014, 7, 1, h, m, 0, 0, time.UTC) }
	ws := []garden.DayWindow{{From: 5 * time.Hour, To: 9*time.Hour + 20*time.Minute}, {From: 18 * time.Hour, To: 2 * time.Hour}}
	for _, c := range []struct {
		name          string
		at            time.Time
		open          bool
		shuts, reopen float64
	}{
		{"inside", at(8, 0), true, 4.0 / 3, 10},
		{"a minute before", at(9, 19), true, 1.0 / 60, 8 + 41.0/60},
		{"at the end", at(9, 20), false, 0, 8 + 40.0/60},
		{"over midnight", at(23, 30), true, 2.5, 5.5},
		{"at night", at(3, 0), false, 0, 2},
	} {
		t.Run(c.name, func(t *testing.T) {
			open, shuts, reopen := window(ws, c.at)
			assert.Equal(t, c.open, open)
			assert.InDelta(t, c.shuts, shuts, 1.0/60)
			assert.InDelta(t, c.reopen, reopen, 1.0/60)
		})
	}
	open, shuts, _ := window([]garden.DayWindow{{}}, at(3, 0))
	assert.True(t, open)
	assert.Equal(t, 24.0, shuts)
}

package feeding

import (
	"fmt"
	"testing"
	"time"

	"fabricpot/control"
	"fabricpot/control/feed"
	"fabricpot/control/garden"
	"fabricpot/control/task"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// testGarden has a pot fed by its line, two pots on one line whose injector
// feeds both, one fed by hand and one neither watered nor fed.
func testGarden() *garden.Garden {
	zone := func(id, line string, fed bool) garden.Pot {
		z := garden.Zone{ID: garden.ZoneID(id), Pot: garden.PotID(id), Name: "Pot " + id, Share: 1, Line: garden.LineID(line), Exposure: garden.OpenAir,
			Plants: []garden.Plant{{Crop: "aubergine", Count: 1}}}
		if fed {
			z.Feed = garden.FeedPlan{Products: []garden.ProductShare{{Product: "p", NShare: 1}}}
		}
		return garden.Pot{ID: garden.PotID(id), Mix: "m", VolumeL: 75, Shape: garden.Shape{HeightCM: 45, BottomDiameterCM: 46.07, TopDiameterCM: 46.07}, Zones: []garden.Zone{z}}
	}
	inj := garden.Injector{Ratio: 100, Switched: true, Pin: 5}
	return &garden.Garden{
		Site:     garden.Site{Name: "t", LatDeg: 40, ElevationM: 10, Zone: time.UTC},
		Mixes:    []garden.Mix{{ID: "m", StarterNmgL: 100, Retention: garden.Retention{Model: garden.VanGenuchten, ThetaR: .1, ThetaS: .88, AlphaPerCM: .15, N: 1.6, KsCMH: 30}}},
		Products: []garden.Product{{ID: "p", Name: "Soluble", Form: garden.Soluble, Analysis: garden.Analysis{N: 20, P2O5: 10, K2O: 20}, ECPer100PPM: garden.Known(.65)}},
		Pots:     []garden.Pot{zone("a", "la", true), zone("b", "lb", true), zone("c", "lb", true), zone("d", "", true), zone("e", "", false)},
		Lines: []garden.Line{
			{ID: "la", DU: .9, Valve: garden.Valve{Kind: garden.PinValve, Pin: 1}, Injector: inj, Outlets: []garden.Outlet{{Zone: "a", Emitters: 4, FlowLPH: 2}}},
			{ID: "lb", DU: .9, Valve: garden.Valve{Kind: garden.PinValve, Pin: 2}, Injector: inj, Outlets: []garden.Outlet{{Zone: "b", Emitters: 4, FlowLPH: 2}, {Zone: "c", Emitters: 2, FlowLPH: 2}}},
		},
		Supply: garden.Supply{FlowLPH: 30, ECmS: garden.Known(.5)},
		Limits: garden.Limits{MaxOn: 90 * time.Minute},
	}
}

// rig drives the step a minute at a time with pots whose state it sets.
type rig struct {
	t     *testing.T
	p     *Plan
	st    *State
	now   garden.Moment
	views []control.ZoneView
	obs   garden.Observed
	auto  bool
	out   Output
	// all that came out
	records []feed.Record
	events  []task.Event
	next    garden.OrderID
}

func newRig(t *testing.T, g *garden.Garden, past Past) *rig {
	t.Helper()
	w, _, err := control.NewPlan(g)
	require.NoError(t, err)
	p, err := NewPlan(g, w)
	require.NoError(t, err)
	st, err := p.Restore(past)
	require.NoError(t, err)
	r := &rig{t: t, p: p, st: st, next: 1, now: garden.Moment{Wall: time.Date(2026, 6, 1, 6, 0, 0, 0, time.UTC), Synced: true}}
	for i, z := range w.Zones() {
		r.views = append(r.views, control.ZoneView{Zone: z.ID, Line: z.Line, Known: true, OnProbe: true,
			Water: z.Refill, Capacity: z.Capacity, Refill: z.Refill, HoursToLimit: 100, LossTodayL: 3})
		require.Equal(t, i, p.Index(z.ID))
	}
	r.obs.Now.TempC = garden.Known(22)
	r.obs.Today.RainMM = garden.Known(0)
	return r
}

// step takes a tick; orders are given in full within the next one.
func (r *rig) step(d time.Duration) {
	r.t.Helper()
	r.p.Step(r.st, r.now, &Seen{Obs: &r.obs, Zones: r.views, AutoOff: r.auto}, &r.out)
	r.records = append(r.records, r.out.Records...)
	r.events = append(r.events, r.out.Events...)
	r.obs.Delivered, r.obs.Asks, r.obs.Refused = r.obs.Delivered[:0], r.obs.Asks[:0], r.obs.Refused[:0]
	for _, w := range r.out.Wishes {
		o := w.Order
		o.ID = r.next
		r.next++
		r.st.Bind(w.Zone, o, r.now)
		open := false
		r.p.Lent(r.st, func(l garden.LineID, is, _ bool) { open = open || l == o.Line && is })
		assert.True(r.t, open, "a line with a feed's order is lent and open")
		r.obs.Delivered = append(r.obs.Delivered, garden.Delivery{Order: o.ID, Line: o.Line, Zone: o.Zone, Kind: o.Kind, Litres: o.Litres, End: garden.Complete})
	}
	r.now = r.now.Add(d)
}

func (r *rig) run(d time.Duration) {
	for end := r.now.Mono + d; r.now.Mono < end; {
		r.step(time.Minute)
	}
}

func count(records []feed.Record, z garden.ZoneID, k feed.RecordKind) (n int) {
	for _, r := range records {
		if r.Zone == z && r.Kind == k {
			n++
		}
	}
	return n
}

const day = 24 * time.Hour

// tended is a past in which the garden was looked after for weeks.
func tended(at time.Time) Past {
	var p Past
	for _, z := range []garden.ZoneID{"a", "b", "c", "d"} {
		p.Snapshots = append(p.Snapshots, Snapshot{Zone: z, At: at, Began: at.AddDate(0, 0, -40)})
	}
	return p
}

func TestStepFeedsByLineAndByHand(t *testing.T) {
	start := time.Date(2026, 6, 1, 6, 0, 0, 0, time.UTC)
	r := newRig(t, testGarden(), tended(start))
	r.run(12 * time.Hour)
	for _, z := range []garden.ZoneID{"a", "b"} {
		assert.Equal(t, 1, count(r.records, z, feed.Begun), z)
		assert.Equal(t, 1, count(r.records, z, feed.Ended), z)
	}
	assert.Zero(t, count(r.records, "c", feed.Begun), "c is fed along with b")
	assert.Positive(t, count(r.records, "c", feed.HandGiven))
	var b, c float64
	for _, x := range r.records {
		switch {
		case x.Zone == "b" && x.Kind == feed.PulseSettled:
			b += x.Litres
		case x.Zone == "c" && x.Kind == feed.HandGiven:
			c += x.Litres
		}
	}
	assert.InDelta(t, b/2, c, 1e-9, "half as many emitters, half as much")
	assert.Equal(t, 1, count(r.records, "d", feed.HandOpened))
	assert.Zero(t, count(r.records, "e", feed.HandOpened))
	list := r.st.Tasks(r.now.Wall)
	require.NotEmpty(t, list)
	var feeds *task.Listed
	for i := range list {
		if list[i].Kind == task.Feed {
			require.Nil(t, feeds)
			feeds = &list[i]
		}
	}
	require.NotNil(t, feeds)
	assert.Equal(t, garden.ZoneID("d"), feeds.Zone)
	assert.NotEmpty(t, feeds.Cautions)

	t.Run("not again within the gap, whoever asks", func(t *testing.T) {
		n := count(r.records, "a", feed.Begun)
		for range 3 {
			r.obs.Asks = append(r.obs.Asks, garden.Ask{Kind: garden.AskFeed, Zone: "a"})
			r.run(day)
		}
		assert.Equal(t, n, count(r.records, "a", feed.Begun))
	})
	t.Run("done enters it once", func(t *testing.T) {
		in, err := r.p.Done(r.st, r.now, feeds.ID, task.Report{At: r.now.Wall})
		require.NoError(t, err)
		require.Len(t, in.Records, 1)
		assert.Equal(t, feed.HandGiven, in.Records[0].Kind)
		assert.Equal(t, []Poured{{Zone: "d", Litres: feeds.Litres}}, in.Poured)
		_, err = r.p.Done(r.st, r.now, feeds.ID, task.Report{At: r.now.Wall})
		require.ErrorIs(t, err, task.ErrAsk)
		_, err = r.p.Done(r.st, r.now, "feed-d-77", task.Report{At: r.now.Wall})
		require.ErrorIs(t, err, task.ErrUnknown)
		in, err = r.p.Done(r.st, r.now, feeds.ID, task.Report{At: r.now.Wall, Again: true, Litres: garden.Known(1.5)})
		require.NoError(t, err)
		assert.InDelta(t, 1.5, in.Records[0].Litres, 0)
	})
}

// TestStepWaitsWhileItMust: rules of water and weather hold a due feed back, and
// nothing is ordered meanwhile.
func TestStepWaitsWhileItMust(t *testing.T) {
	start := time.Date(2026, 6, 1, 6, 0, 0, 0, time.UTC)
	for name, spoil := range map[string]func(*rig){
		"no confirmed clock":   func(r *rig) { r.now.Synced = false },
		"automatic off":        func(r *rig) { r.auto = true },
		"too cold":             func(r *rig) { r.obs.Now.TempC = garden.Known(8) },
		"too hot":              func(r *rig) { r.obs.Now.TempC = garden.Known(38) },
		"heavy rain to come":   func(r *rig) { r.obs.Today.RainMM = garden.Known(60) },
		"kept shut":            func(r *rig) { r.views[0].State, r.views[1].State = garden.KeptShut, garden.KeptShut },
		"a watering under way": func(r *rig) { r.views[0].State, r.views[1].State = garden.Soaking, garden.Soaking },
		"no trusted probe":     func(r *rig) { r.views[0].OnProbe, r.views[1].OnProbe = false, false },
		"full":                 func(r *rig) { r.views[0].Water, r.views[1].Water = r.views[0].Capacity, r.views[1].Capacity },
		"outside the hours":    func(r *rig) { r.p.g.Supply.Hours = []garden.DayWindow{{From: 20 * time.Hour, To: 22 * time.Hour}} },
	} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t, testGarden(), tended(start))
			spoil(r)
			r.run(3 * time.Hour)
			assert.Zero(t, count(r.records, "a", feed.Begun))
			assert.Zero(t, count(r.records, "b", feed.Begun))
		})
	}
	t.Run("salty drainage asks for a flush first", func(t *testing.T) {
		past := tended(start)
		past.Drained = []Drainage{{Zone: "d", At: start.Add(-time.Hour), MS: 6}}
		r := newRig(t, testGarden(), past)
		r.run(3 * time.Hour)
		assert.Zero(t, count(r.records, "d", feed.HandOpened))
		var flush string
		for _, x := range r.st.Tasks(r.now.Wall) {
			if x.Kind == task.Flush {
				flush = x.ID
			}
		}
		require.NotEmpty(t, flush)
		_, err := r.p.Done(r.st, r.now, flush, task.Report{At: r.now.Wall})
		require.NoError(t, err)
		r.run(3 * time.Hour)
		assert.Equal(t, 1, count(r.records, "d", feed.HandOpened), "and the feed comes after it")
	})
}

// TestRestartInTheMiddle: whatever was intended counts as given.
func TestRestartInTheMiddle(t *testing.T) {
	start := time.Date(2026, 6, 1, 6, 0, 0, 0, time.UTC)
	r := newRig(t, testGarden(), tended(start))
	for count(r.records, "a", feed.PulseIntended) == 0 {
		r.step(time.Minute)
	}
	past := tended(start)
	past.Records, past.Events = r.records, r.events
	again := newRig(t, testGarden(), past)
	again.now = r.now.Add(time.Minute)
	again.run(12 * time.Hour)
	assert.Zero(t, count(again.records, "a", feed.Begun), "not begun again")
	var given float64
	for _, x := range append(r.records, again.records...) {
		if x.Zone == "a" && x.Kind == feed.PulseSettled {
			given += x.Litres
		}
	}
	planned := 0.0
	for _, x := range r.records {
		if x.Zone == "a" && x.Kind == feed.Begun {
			planned = x.Litres
		}
	}
	assert.LessOrEqual(t, given, planned*1.000001)
	v := again.p.View(again.st, 0)
	require.NotNil(t, v.NPoolG)
	t.Run("records of another zone's past are refused", func(t *testing.T) {
		bad := []feed.Record{{Kind: feed.Begun, Zone: "a", Litres: -1}}
		_, err := again.p.Restore(Past{Records: bad})
		require.Error(t, err)
	})
}

// TestHandWater: a pot without a line asks for water under its refill point, and
// the task goes when it has got some.
func TestHandWater(t *testing.T) {
	r := newRig(t, testGarden(), Past{})
	r.views[4].ToRefillL = -1
	r.run(2 * time.Hour)
	find := func() (ids []string) {
		for _, x := range r.st.Tasks(r.now.Wall) {
			if x.Kind == task.Water && x.Zone == "e" {
				ids = append(ids, x.ID)
			}
		}
		return ids
	}
	require.Len(t, find(), 1)
	r.run(3 * day)
	require.Len(t, find(), 1, "it stays one task")
	for _, x := range r.st.Tasks(r.now.Wall) {
		if x.Kind == task.Water && x.Zone == "e" {
			assert.Equal(t, "pressing", x.Urgency, "and grows more urgent")
		}
	}
	r.views[4].ToRefillL = 8
	r.run(2 * time.Hour)
	assert.Empty(t, find())
}

// TestNoteAsksForRecovery: hunger in the records begins a recovery once, whose
// feeds are asked of the sequence.
func TestNoteAsksForRecovery(t *testing.T) {
	start := time.Date(2026, 6, 1, 6, 0, 0, 0, time.UTC)
	r := newRig(t, testGarden(), tended(start.AddDate(0, 0, -1)))
	r.views[3].OnProbe = false
	r.step(time.Minute)
	w := Week{Dips: garden.Known(0), SaturatedHours: garden.Known(0), HottestC: garden.Known(28), ColdestC: garden.Known(18),
		Water: garden.Known(.3), Refill: garden.Known(.39)}
	f := r.p.Facts(r.st, 3, r.now, w)
	require.True(t, f.NDaysLeft.Known)
	require.Less(t, f.NDaysLeft.Value, 3.0)
	n, err := r.p.Note(r.st, r.now, task.Observation{Zone: "d", Sign: task.PaleLowerLeaves}, f)
	require.NoError(t, err)
	require.True(t, n.Answer.Recover)
	require.NotEmpty(t, n.Plan)
	assert.True(t, r.st.zones[3].asked(r.now.Wall))
	assert.False(t, r.st.zones[3].asked(r.now.Wall.Add(3*day)))
	assert.True(t, r.st.zones[3].asked(r.now.Wall.Add(6*day)))
	again, err := r.p.Note(r.st, r.now.Add(time.Hour), task.Observation{Zone: "d", Sign: task.PaleLowerLeaves}, f)
	require.NoError(t, err)
	assert.Empty(t, again.Plan, "one recovery at a time")
	t.Run("it outlives a restart", func(t *testing.T) {
		past := tended(start)
		past.Events = n.Events
		st, err := r.p.Restore(past)
		require.NoError(t, err)
		assert.True(t, st.zones[3].asked(r.now.Wall.Add(6*day)))
	})
	_, err = r.p.Note(r.st, r.now, task.Observation{Zone: "nowhere", Sign: task.Limp}, f)
	require.ErrorContains(t, err, "nowhere")
}

func TestPlanRefusesABadGarden(t *testing.T) {
	g := testGarden()
	g.Pots[0].Zones[0].Feed.Products[0].Product = "unknown"
	w, _, err := control.NewPlan(testGarden())
	require.NoError(t, err)
	_, err = NewPlan(g, w)
	require.ErrorContains(t, err, "unknown")
	g = testGarden()
	g.Pots[0].Zones[0].Plants = nil
	_, err = NewPlan(g, w)
	require.ErrorContains(t, err, "no plants")
	t.Run("an injector that can't be switched feeds nobody", func(t *testing.T) {
		g := testGarden()
		g.Lines[0].Injector.Switched = false
		p, err := NewPlan(g, w)
		require.NoError(t, err)
		line, fed := p.Fed(0)
		assert.True(t, fed)
		assert.Empty(t, line)
	})
}

func TestCheck(t *testing.T) {
	whats := func(g *garden.Garden) (all string) {
		for _, p := range Check(g) {
			all += fmt.Sprintf("%s %v: %s\n", p.Path, p.Fatal, p.What)
		}
		return all
	}
	assert.NotContains(t, whats(testGarden()), "true:")
	g := testGarden()
	g.Lines[0].Injector.Switched = false
	assert.Contains(t, whats(g), "lines.la.injector false: no pin")
	g = testGarden()
	g.Lines[0].Valve.Kind = garden.RemoteValve
	assert.Contains(t, whats(g), "lines.la.injector true: an injector on a line whose valve is remote")
	g = testGarden()
	g.Pots[0].Zones[0].Feed = garden.FeedPlan{}
	assert.Contains(t, whats(g), `no pot of line "la" has a feed`)
	g = testGarden()
	g.Pots[3].Zones[0].Feed.DoseL = garden.Known(20)
	assert.Contains(t, whats(g), "true: ", "20 L into 75 L of mix")
}

package hub

import (
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/cmd/gateway/internal/season"
	"fabricpot/control"
	"fabricpot/control/alarm"
	"fabricpot/control/garden"
	"fabricpot/mqtt"
	"fabricpot/mqtt/command"
	"fabricpot/mqtt/probe"
	"fabricpot/mqtt/sky"
	"fabricpot/mqtt/topic"
	simterrace "fabricpot/sim/terrace"
	"fabricpot/valves"
)

// told counts what a loop says.
type told struct {
	opened  int
	raised  map[alarm.Kind]string
	cleared map[alarm.Kind]bool
}

func (t *told) Opened(garden.Moment, garden.Order)                  { t.opened++ }
func (t *told) Ended(garden.Delivery)                               {}
func (t *told) Refused(garden.Moment, garden.Order, garden.Refusal) {}
func (t *told) Noticed(control.Event)                               {}
func (t *told) Failed(garden.Moment, string, error)                 {}
func (t *told) Alarmed(c alarm.Change) {
	switch c.Event {
	case alarm.Raised:
		t.raised[c.Kind] = c.Text
	case alarm.Cleared:
		t.cleared[c.Kind] = true
	}
}

// TestABrokerThatIsAway: a morning on the example terrace waters the same with
// a broker that nobody answers at, and the alarm names it.
func TestABrokerThatIsAway(t *testing.T) {
	src, err := os.ReadFile("../../../../testdata/terrace.yaml")
	require.NoError(t, err)
	morning := func(url string) (*told, float64) {
		g, _, err := config.Load("terrace.yaml", []byte(strings.Replace(string(src), "url: embedded", "url: "+url, 1)))
		require.NoError(t, err)
		start := time.Date(2026, 7, 1, 5, 0, 0, 0, g.Site.Zone)
		begun := time.Now()
		clock := func() garden.Moment {
			return garden.Moment{Mono: time.Since(begun), Wall: time.Now(), Synced: true}
		}
		world := simterrace.DefaultOptions(7, nil)
		world.StartSuctionCM = 18
		heard := &told{raised: map[alarm.Kind]string{}, cleared: map[alarm.Kind]bool{}}
		o := season.Options{Seed: 7, Start: start, Weather: season.Climate(7, start, 5), Terrace: world, Tell: heard, Watched: true}
		if url != "embedded" {
			r, left, err := Open(g, RemoteOptions{First: About{Garden: g}.First(), Clock: clock})
			require.NoError(t, err)
			require.Empty(t, left)
			r.Start(t.Context())
			defer r.Close(100 * time.Millisecond)
			o.Far = NewEnds(r, "", clock)
		}
		b, err := season.NewBench(g, o)
		require.NoError(t, err)
		require.NoError(t, b.Begin())
		b.RunTo(3 * time.Hour)
		rep := b.End()
		assert.Empty(t, rep.Unconfirmed)
		total := 0.0
		for _, l := range g.Lines {
			total += b.Terrace.LineLitres(l.ID)
		}
		return heard, total
	}
	alone, want := morning("embedded") // which is not opened here
	away, got := morning("mqtt://127.0.0.1:1")
	assert.Positive(t, want)
	assert.Equal(t, want, got, "to the drop")
	assert.Equal(t, alone.opened, away.opened)
	assert.NotContains(t, alone.raised, alarm.LinkLost)
	assert.Contains(t, away.raised[alarm.LinkLost], "no connection to the broker")
}

func TestNoBrokerCouldBeBegun(t *testing.T) {
	e := NewEnds(nil, "the port is taken", func() garden.Moment { return garden.Moment{} })
	assert.Equal(t, []runner.Worry{{Kind: alarm.LinkLost, Text: "the port is taken"}}, e.Worries())
	assert.Equal(t, valves.Unassigned{}, e.Valve("x"))
	s, err := e.Sampler(mixed(), wiredAs(t, 1))
	require.NoError(t, err)
	out := s.Sample(garden.Moment{Mono: time.Hour}, nil)
	require.Len(t, out, 4)
	assert.Equal(t, garden.Missing, out[0].Fault)
	assert.Equal(t, garden.Bad, out[0].Quality)
	assert.Equal(t, garden.Good, out[1].Quality, "the wired one goes on")
}

// mixed has remote percent, wired, remote volts and remote percent probes, in
// this order.
func mixed() *garden.Garden {
	far := func(id string, q garden.RemoteQuantity) garden.Probe {
		return garden.Probe{ID: garden.ProbeID(id), Zone: "a", DepthCM: 10, Remote: &garden.RemoteInput{Quantity: q}}
	}
	bent := far("p4", garden.RemotePercent)
	bent.Zone, bent.Calibration.OffsetWater = "b", -0.02
	return &garden.Garden{
		Site: garden.Site{ID: "roof", Zone: time.UTC}, SampleEvery: time.Minute,
		Mixes: []garden.Mix{{ID: "mix", Calibration: garden.Calibration{Kind: garden.TwoPoint, Points: []garden.CalibrationPoint{{Volts: 2.5, Water: 0.1}, {Volts: 1.3, Water: 0.6}}}}},
		Pots: []garden.Pot{{ID: "a", Mix: "mix", Zones: []garden.Zone{{ID: "a", Probes: []garden.Probe{
			far("p1", garden.RemotePercent), {ID: "p2", Zone: "a", DepthCM: 10}, far("p3", garden.RemoteVolts)}}}},
			{ID: "b", Mix: "mix", Zones: []garden.Zone{{ID: "b", Probes: []garden.Probe{bent}}}}},
	}
}

// wiredAs is a wired sampler that must be asked for that probe.
func wiredAs(t *testing.T, number int) runner.WiredSampler {
	return func(g *garden.Garden, numbers []int) (runner.Sampler, error) {
		assert.Equal(t, []int{number}, numbers)
		list := g.ProbeList()
		require.Len(t, list, 1)
		return constant{list[0].ID}, nil
	}
}

type constant struct{ id garden.ProbeID }

func (c constant) Sample(now garden.Moment, out []garden.Reading) []garden.Reading {
	return append(out, garden.Reading{Probe: c.id, Zone: "a", At: now, Water: 0.5, Quality: garden.Good})
}

func TestJoinedProbes(t *testing.T) {
	g := mixed()
	tree, err := topic.NewTree("", "roof")
	require.NoError(t, err)
	table, errs := probe.NewTable(tree, g, probe.Options{})
	require.Empty(t, errs)
	link := garden.Moment{Mono: 100 * time.Hour, Wall: time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC), Synced: true}
	s, err := newSampler(g, table, func() garden.Moment { return link }, wiredAs(t, 1))
	require.NoError(t, err)
	loop := garden.Moment{Mono: time.Minute, Wall: time.Date(2026, 7, 1, 5, 0, 0, 0, time.UTC), Synced: true}
	say := func(id, text string) {
		table.Take(mqtt.Message{Topic: "fabricpot/roof/probe/" + id, Payload: []byte(text), At: link})
	}
	pass := func(d time.Duration) { link, loop = link.Add(d), loop.Add(d) }
	words := func(out []garden.Reading) (w []string) {
		for _, r := range out {
			w = append(w, string(r.Probe)+" "+string(r.Zone)+" "+r.Quality.String()+" "+r.Fault.String())
		}
		return w
	}
	out := s.Sample(loop, nil)
	assert.Equal(t, []string{"p1 a bad " + garden.Missing.String(), "p2 a good ", "p3 a bad " + garden.Missing.String(), "p4 b bad " + garden.Missing.String()}, words(out))

	say("p1", "41")
	say("p3", "1.9")
	say("p4", "30")
	pass(20 * time.Second)
	for range 3 { // a probe that was away is believed at its third sample
		pass(10 * time.Second)
		out = s.Sample(loop, out)
	}
	assert.Equal(t, []string{"p1 a good ", "p2 a good ", "p3 a good ", "p4 b good "}, words(out))
	assert.InDelta(t, 0.41, float64(out[0].Water), 1e-9)
	// 1.9 V is half-way between the points 10 % and 60 %.
	assert.InDelta(t, 0.35, float64(out[2].Water), 1e-9)
	assert.InDelta(t, 1.9, float64(out[2].Volts), 1e-9)
	assert.InDelta(t, 0.28, float64(out[3].Water), 1e-9, "with its offset")
	assert.Equal(t, loop.Add(-50*time.Second), out[0].At, "an age passes from the link's clock to the loop's")
	assert.Equal(t, loop.Add(-50*time.Second), out[2].At)

	say("p3", "0.01")
	say("p1", "140")
	out = s.Sample(loop, out)
	assert.Equal(t, "p3 a bad "+garden.ShortCircuit.String(), words(out)[2], "judged as a wired one is")
	assert.Equal(t, "p1 a bad "+garden.OutOfSpan.String(), words(out)[0])
	pass(11 * time.Minute)
	assert.Equal(t, []string{"p1 a bad " + garden.Stale.String(), "p2 a good ", "p3 a bad " + garden.Stale.String(), "p4 b bad " + garden.Stale.String()}, words(s.Sample(loop, out)))

	t.Run("nothing is allocated", func(t *testing.T) {
		say("p1", "40")
		say("p3", "1.9")
		out = s.Sample(loop, out)
		assert.Zero(t, testing.AllocsPerRun(100, func() { out = s.Sample(loop, out) }))
	})
	t.Run("all wired is the wired sampler itself", func(t *testing.T) {
		g := with(g, func(_ int, p *garden.Probe) bool { return p.Remote == nil })
		s, err := newSampler(g, table, nil, wiredAs(t, 0))
		require.NoError(t, err)
		assert.Equal(t, constant{"p2"}, s)
	})
	t.Run("the garden itself stays as it was", func(t *testing.T) {
		assert.Equal(t, mixed(), g)
	})
}

func TestFarWeather(t *testing.T) {
	tree, err := topic.NewTree("", "roof")
	require.NoError(t, err)
	far, errs := sky.New(tree, []garden.SkyInput{{Topic: "t", Quantity: garden.SkyTemperature, Unit: "F"}, {Topic: "r", Quantity: garden.SkyRain, Unit: "mm"}, {Quantity: garden.SkyDays}}, time.UTC)
	require.Empty(t, errs)
	link := garden.Moment{Mono: time.Hour, Wall: time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC), Synced: true}
	now := garden.Moment{Mono: time.Minute, Wall: time.Date(2026, 7, 1, 5, 0, 0, 0, time.UTC), Synced: true}
	place := garden.Site{LatDeg: 40, ElevationM: 10, Zone: time.UTC}
	s := NewEnds(&Remote{Sky: far}, "", func() garden.Moment { return link }).Sky(runner.NewUsualSky(place))
	var usual, obs garden.Observed
	runner.NewUsualSky(place).Observe(now, &usual)
	s.Observe(now, &obs)
	assert.Equal(t, usual, obs, "nothing was heard")

	far.Take(mqtt.Message{Topic: "t", Payload: []byte("77"), At: link})
	far.Take(mqtt.Message{Topic: "r", Payload: []byte("3"), At: link})
	far.Take(mqtt.Message{Topic: "fabricpot/roof/weather/days", Payload: []byte(`{"days":[{"date":"2026-07-01","t_min_c":18,"t_max_c":40},{"date":"2026-07-02","t_min_c":19,"t_max_c":41,"rain_mm":7}]}`), At: link})
	s.Observe(now, &obs)
	assert.InDelta(t, 25, obs.Now.TempC.Value, 1e-9, "77 °F")
	assert.Equal(t, garden.Known(3), obs.Now.RainMM)
	assert.Equal(t, garden.Known(40), obs.Today.TMaxC)
	require.Len(t, obs.Ahead, 1)
	assert.Equal(t, garden.Known(7), obs.Ahead[0].RainMM)
	s.Observe(now, &obs)
	assert.NotEqual(t, garden.Known(3), obs.Now.RainMM, "rain counts once")

	base := runner.NewUsualSky(place)
	assert.Equal(t, runner.Sky(base), NewEnds(nil, "", nil).Sky(base))
}

// answers collects what a Tie tells.
type answers struct{ said []string }

func (a *answers) Refuse(w command.Wish, reason string) { a.said = append(a.said, w.ID+": "+reason) }
func (a *answers) Delivered(d garden.Delivery)          { a.said = append(a.said, "delivered "+string(d.Line)) }
func (a *answers) Happened(event, alarm, _ string)      { a.said = append(a.said, event+" "+alarm) }

func TestSecondAnswers(t *testing.T) {
	g := &garden.Garden{Site: garden.Site{ID: "roof"}, Lines: []garden.Line{{ID: "l", Outlets: []garden.Outlet{{Zone: "a", Emitters: 3, FlowLPH: 2}, {Zone: "b", Emitters: 1, FlowLPH: 2}}}}}
	a := &answers{}
	r := &Remote{}
	tie := NewTie(r, About{Garden: g}, []garden.PastDelivery{{Delivery: garden.Delivery{Line: "l", Litres: 4}}})
	tie.teller = a
	wish := func(id, zone string) {
		tie.wait(command.Wish{ID: id, Do: command.Water, Ask: garden.Ask{Zone: garden.ZoneID(zone), Litres: 1}})
	}
	order := func(zone string, k garden.OrderKind) garden.Order {
		return garden.Order{Zone: garden.ZoneID(zone), Line: "l", Kind: k}
	}
	wish("w1", "a")
	tie.Refused(garden.Moment{}, order("a", garden.Irrigate), garden.Refusal{Cause: garden.CapReached})
	tie.Refused(garden.Moment{}, order("a", garden.ByHand), garden.Refusal{Cause: garden.SupplyBusy})
	assert.Empty(t, a.said, "another's order, and one that waits its turn")
	tie.Refused(garden.Moment{}, order("a", garden.ByHand), garden.Refusal{Cause: garden.TankEmpty})
	assert.Equal(t, []string{"w1: " + garden.TankEmpty.String()}, a.said)
	wish("w2", "a")
	tie.Opened(garden.Moment{}, order("a", garden.ByHand))
	tie.Refused(garden.Moment{}, order("a", garden.ByHand), garden.Refusal{Cause: garden.TankEmpty})
	assert.Len(t, a.said, 1, "it was met")
	wish("w3", "b")
	tie.Noticed(control.Event{Kind: control.Dropped, Zone: "b", A: 1, Cause: garden.DeviceFault, Begun: true})
	assert.Len(t, a.said, 1, "w3 waits, another's rest was given up")
	tie.Noticed(control.Event{Kind: control.Dropped, Zone: "b", A: 1})
	assert.Contains(t, a.said[1], "w3: ")
	for range 100 {
		wish("many", "b")
	}
	assert.Len(t, tie.waits["b"], 16, "bounded")
	tie.Ended(garden.Delivery{Line: "l", Litres: 4})
	assert.InDelta(t, 6, tie.totals["a"], 1e-12, "three emitters of four, of 4 L before and 4 L now")
	assert.InDelta(t, 2, tie.totals["b"], 1e-12)
	tie.Alarmed(alarm.Change{Kind: alarm.TankLow, Event: alarm.Raised, Text: "x"})
	tie.Alarmed(alarm.Change{Kind: alarm.TankLow, Event: alarm.Shelved})
	assert.Equal(t, []string{"delivered l", "raised tank-low"}, a.said[2:])
}

func TestAlarmIDs(t *testing.T) {
	seen := map[string]bool{}
	for _, k := range alarm.Kinds() {
		for _, about := range []string{"", "x", strings.Repeat("a", 48), strings.Repeat("a", 47) + "b"} {
			id := alarmID(k.String(), about)
			assert.True(t, garden.ValidID(id), id)
			assert.False(t, seen[id], id)
			seen[id] = true
		}
	}
}

package probe

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
	"fabricpot/mqtt"
	"fabricpot/mqtt/internal/contract"
	"fabricpot/mqtt/internal/rig"
	"fabricpot/mqtt/topic"
)

var epoch = time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC)

func at(s float64) garden.Moment {
	d := time.Duration(s * float64(time.Second))
	return garden.Moment{Mono: time.Hour + d, Wall: epoch.Add(d), Synced: true}
}

func tree(t testing.TB) topic.Tree {
	tr, err := topic.NewTree("", "roof")
	require.NoError(t, err)
	return tr
}

func table(t testing.TB, o Options, probes ...garden.Probe) *Table {
	g := &garden.Garden{Pots: []garden.Pot{{Zones: []garden.Zone{{ID: "chilli", Probes: probes}}}}}
	tb, errs := NewTable(tree(t), g, o)
	require.Empty(t, errs)
	return tb
}

func remote(id string, in garden.RemoteInput) garden.Probe {
	return garden.Probe{ID: garden.ProbeID(id), Zone: "chilli", Remote: &in}
}

func own(q garden.RemoteQuantity) garden.Probe {
	return remote("p", garden.RemoteInput{Quantity: q, VoltsPerCount: 0.001})
}

const ownTopic = "fabricpot/roof/probe/p"

func say(tb *Table, sec float64, text string) {
	tb.Take(mqtt.Message{Topic: ownTopic, Payload: []byte(text), At: at(sec)})
}

func straight(_ garden.ProbeID, v garden.Volts) (garden.WaterFraction, garden.Quality, garden.ReadingFault) {
	return garden.WaterFraction(v / 10), garden.Good, garden.NoFault
}

func TestQuantities(t *testing.T) {
	for _, c := range []struct {
		q     garden.RemoteQuantity
		says  string
		volts garden.Volts
		water garden.WaterFraction
		fault garden.ReadingFault
	}{
		{garden.RemoteCounts, "1500", 1.5, 0.15, garden.NoFault},
		{garden.RemoteVolts, " 1.5\n", 1.5, 0.15, garden.NoFault},
		{garden.RemoteWater, "0.41", 0, 0.41, garden.NoFault},
		{garden.RemotePercent, "41", 0, 0.41, garden.NoFault},
		{garden.RemoteWater, `{"value":0.41}`, 0, 0.41, garden.NoFault},
		{garden.RemoteWater, "41", 0, 0, garden.OutOfSpan},       // percent, named water
		{garden.RemotePercent, "-3", 0, 0, garden.OutOfSpan},     //
		{garden.RemoteVolts, "1500", 0, 0, garden.OutOfSpan},     // millivolts, named volts
		{garden.RemoteCounts, "9999999", 0, 0, garden.OutOfSpan}, //
	} {
		t.Run(string(c.q)+" "+c.says, func(t *testing.T) {
			tb := table(t, Options{}, own(c.q))
			say(tb, 0, c.says)
			r := tb.Reading("p", at(1), straight)
			assert.Equal(t, c.fault, r.Fault)
			assert.Equal(t, c.fault == garden.NoFault, r.Quality == garden.Good)
			if c.fault == garden.NoFault {
				assert.InDelta(t, float64(c.volts), float64(r.Volts), 1e-12)
				assert.InDelta(t, float64(c.water), float64(r.Water), 1e-12)
				assert.Equal(t, at(0), r.At)
				assert.Equal(t, garden.ZoneID("chilli"), r.Zone)
			}
		})
	}
}

func TestMissingStaleAndUncalibratedAreDifferent(t *testing.T) {
	tb := table(t, Options{}, own(garden.RemoteVolts))
	assert.Equal(t, garden.Missing, tb.Reading("p", at(0), straight).Fault)
	assert.Equal(t, garden.Missing, tb.Reading("nobody", at(0), straight).Fault)
	say(tb, 0, "1.5")
	assert.Equal(t, garden.NoFault, tb.Reading("p", at(600), straight).Fault)
	assert.Equal(t, garden.Stale, tb.Reading("p", at(600.001), straight).Fault)
	assert.Equal(t, garden.Bad, tb.Reading("p", at(601), straight).Quality)
	assert.Equal(t, garden.NoCalibration, tb.Reading("p", at(1), nil).Fault)
}

func TestSequence(t *testing.T) {
	run := func(seqs ...int) (*Table, Counts) {
		tb := table(t, Options{}, own(garden.RemoteWater))
		for i, s := range seqs {
			say(tb, float64(i), fmt.Sprintf(`{"value":0.%03d,"seq":%d}`, s, s))
		}
		return tb, tb.Counts("p")
	}
	last := func(tb *Table) int { return int(math.Round(float64(tb.Reading("p", at(60), nil).Water) * 1000)) }
	tb, c := run(5, 6, 6, 6)
	assert.Equal(t, Counts{Accepted: 2, Repeated: 2}, c)
	assert.Equal(t, at(1), tb.Reading("p", at(60), nil).At, "a repetition does not make it younger")
	tb, c = run(5, 7, 6)
	assert.Equal(t, Counts{Accepted: 2, Overtaken: 1}, c)
	assert.Equal(t, 7, last(tb))
	tb, c = run(500, 1, 2, 3, 4)
	assert.Equal(t, 4, last(tb), "a restarted node is believed at its third message")
	assert.Equal(t, Counts{Accepted: 3, Overtaken: 2}, c)
	tb, _ = run(500, 499, 498, 497, 496)
	assert.Equal(t, 500, last(tb), "old messages in falling order are no restart")
}

func TestRetainedAndTimed(t *testing.T) {
	tb := table(t, Options{}, own(garden.RemoteWater))
	tb.Take(mqtt.Message{Topic: ownTopic, Payload: []byte("0.4"), Retain: true, At: at(0)})
	assert.Equal(t, garden.Missing, tb.Reading("p", at(0), nil).Fault, "nobody knows how old it is")
	timed := func(age float64) string { return fmt.Sprintf(`{"value":0.4,"time":%.3f}`, float64(epoch.Unix())-age) }
	tb.Take(mqtt.Message{Topic: ownTopic, Payload: []byte(timed(3600)), Retain: true, At: at(0)})
	assert.Equal(t, garden.Stale, tb.Reading("p", at(0), nil).Fault, "it says itself that it is an hour old")
	say(tb, 0, timed(300))
	r := tb.Reading("p", at(0), nil)
	assert.Equal(t, garden.NoFault, r.Fault)
	assert.InDelta(t, 300, at(0).Since(r.At).Seconds(), 0.01)
	say(tb, 1, timed(400))
	assert.Equal(t, uint64(1), tb.Counts("p").Overtaken, "older than what we have")
	for _, bad := range []float64{-3600, 400 * 86400, math.Inf(-1)} {
		say(tb, 2, timed(bad))
	}
	assert.Equal(t, uint64(3), tb.Counts("p").Malformed, "clocks that are wrong")
	// Without a clock of our own the node's is no help and no harm.
	tb = table(t, Options{}, own(garden.RemoteWater))
	m := at(0)
	m.Synced = false
	tb.Take(mqtt.Message{Topic: ownTopic, Payload: []byte(timed(9e8)), At: m})
	assert.Equal(t, garden.NoFault, tb.Reading("p", at(1), nil).Fault)
	tb.Take(mqtt.Message{Topic: ownTopic, Payload: []byte(timed(5)), Retain: true, At: m})
	assert.Equal(t, uint64(1), tb.Counts("p").Retained)
}

func TestMalformedChangesNothing(t *testing.T) {
	tb := table(t, Options{Rate: -1}, own(garden.RemoteWater))
	say(tb, 0, "0.4")
	contract.Fits(t, "probe", "0.4")
	contract.Fits(t, "probe", `{"value":0.4,"seq":3,"time":1780000000.5,"battery":3.1}`)
	bad := []string{"", "NaN", "Inf", "1e999", `"0.4"`, `{"value":"0.4"}`, `{"value":NaN}`, `{"value":null}`, `{}`, `{"value":0.4,"seq":-1}`, `{"value":0.4,"seq":1.5}`, `{"value":0.4,"seq":"1"}`,
		"{\"value\":\"\xff\"}", `{"value":0.4}{}`, `{"value":0.4`, "{" + strings.Repeat(`"a":{`, 50), strings.Repeat(" ", 1<<20) + "1", "0x1p-2", `[0.4]`, "0,4"}
	for i, s := range bad {
		say(tb, float64(i), s)
		assert.Equal(t, uint64(i+1), tb.Counts("p").Malformed, "%.40q", s)
		assert.NotEmpty(t, tb.Counts("p").LastError)
	}
	assert.Equal(t, at(0), tb.Reading("p", at(60), nil).At)
	say(tb, 61, `{"value":0.5,"battery":3.1,"x":[{"y":1}]}`)
	assert.InDelta(t, 0.5, float64(tb.Reading("p", at(61), nil).Water), 1e-12, "telemetry may say more than we know")
}

func TestForeignJSON(t *testing.T) {
	a := remote("a", garden.RemoteInput{Topic: "zigbee/plant 1", Quantity: garden.RemotePercent, Value: "/soil_moisture", Seq: "/n"})
	b := remote("b", garden.RemoteInput{Topic: "zigbee/plant 1", Quantity: garden.RemotePercent, Value: "/more/0/m"})
	c := remote("c", garden.RemoteInput{Topic: "plain/number", Quantity: garden.RemoteVolts})
	tb := table(t, Options{}, a, b, c)
	assert.ElementsMatch(t, []string{"zigbee/plant 1", "plain/number"}, tb.Filters())
	tb.Take(mqtt.Message{Topic: "zigbee/plant 1", Payload: []byte(`{"soil_moisture":33,"n":4,"more":[{"m":44}]}`), At: at(0)})
	tb.Take(mqtt.Message{Topic: "plain/number", Payload: []byte(`{"value":1}`), At: at(0)})
	tb.Take(mqtt.Message{Topic: "somebody/else", Payload: []byte(`1`), At: at(0)})
	assert.InDelta(t, 0.33, float64(tb.Reading("a", at(0), nil).Water), 1e-12)
	assert.InDelta(t, 0.44, float64(tb.Reading("b", at(0), nil).Water), 1e-12)
	assert.Equal(t, uint64(1), tb.Counts("c").Malformed, "a plain number was expected")
}

func TestBadSourcesAreReportedTogether(t *testing.T) {
	g := &garden.Garden{Pots: []garden.Pot{{Zones: []garden.Zone{{ID: "z", Probes: []garden.Probe{
		remote("a", garden.RemoteInput{Quantity: "moisture"}),
		remote("b", garden.RemoteInput{Quantity: garden.RemoteCounts}),
		remote("c", garden.RemoteInput{Quantity: garden.RemoteCounts, VoltsPerCount: math.NaN()}),
		remote("d", garden.RemoteInput{Quantity: garden.RemoteVolts, Topic: "a/#"}),
		remote("e", garden.RemoteInput{Quantity: garden.RemoteVolts, Topic: "a", Value: "no-slash"}),
		remote("f", garden.RemoteInput{Quantity: garden.RemoteVolts, Value: "/x"}),
		remote("g", garden.RemoteInput{Quantity: garden.RemoteVolts, MaxAge: time.Millisecond}),
		remote("ok", garden.RemoteInput{Quantity: garden.RemoteVolts}),
		{ID: "wired"},
	}}}}}}
	tb, errs := NewTable(tree(t), g, Options{})
	assert.Len(t, errs, 7)
	assert.True(t, tb.Knows("ok"))
	assert.False(t, tb.Knows("a"))
	assert.False(t, tb.Knows("wired"))
}

func TestAFloodOfOneLeavesTheOthers(t *testing.T) {
	s := rig.Embedded(t)
	tb := table(t, Options{}, own(garden.RemoteWater), remote("q", garden.RemoteInput{Quantity: garden.RemoteWater}))
	require.Equal(t, []string{"fabricpot/roof/probe/+"}, tb.Filters())
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	l := rig.Link(t, rig.Quick(s.Addr(), "table"), func(l *mqtt.Link) {
		for _, f := range tb.Filters() {
			in, err := l.Subscribe(f, 0, 256)
			require.NoError(t, err)
			go tb.Run(ctx, in)
		}
	})
	rig.Up(t, l)
	out := rig.Outsider(t, s.Addr(), "nodes")
	for i := range 20000 {
		out.Publish(ownTopic, 0, false, "0.3")
		if i%1000 == 0 {
			out.Publish("fabricpot/roof/probe/q", 0, false, "0.4")
		}
	}
	// A broker may drop readings for a subscriber that a flood keeps busy; the
	// quiet probe's next one comes.
	require.Eventually(t, func() bool {
		rig.Publish(t, out, "fabricpot/roof/probe/q", 0, false, "0.45")
		return tb.Reading("q", garden.Moment{}, nil).Water == 0.45
	}, 30*time.Second, 100*time.Millisecond, "the quiet probe is heard")
	c := tb.Counts("p")
	assert.Less(t, c.Accepted, uint64(200), "ten a second after the first thirty")
	assert.Greater(t, c.Surplus, uint64(1000))
}

func FuzzTake(f *testing.F) {
	f.Add([]byte(`{"value":0.4,"seq":3,"time":1780000000}`))
	f.Add([]byte("0.4"))
	f.Add([]byte(`{"value":1e308}`))
	f.Add([]byte(`{"soil":[{"raw":512}]}`))
	probes := []garden.Probe{
		own(garden.RemoteWater),
		remote("c", garden.RemoteInput{Topic: ownTopic, Quantity: garden.RemoteCounts, VoltsPerCount: 1e-3, Value: "/soil/0/raw", Seq: "/seq", Time: "/time"}),
	}
	tb := table(f, Options{Rate: -1}, probes...)
	f.Fuzz(func(t *testing.T, b []byte) {
		say(tb, 0, string(b))
		for _, id := range []garden.ProbeID{"p", "c"} {
			r := tb.Reading(id, at(0), straight)
			if r.Quality != garden.Bad && (!(r.Water >= 0) || r.Water > 3 || math.IsNaN(float64(r.Volts))) {
				t.Fatalf("%+v after %q", r, b)
			}
		}
	})
}

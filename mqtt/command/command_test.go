package command

import (
	"encoding/json"
	"fmt"
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

var noon = time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC)

func at(s float64) garden.Moment {
	d := time.Duration(s * float64(time.Second))
	return garden.Moment{Mono: time.Hour + d, Wall: noon.Add(d), Synced: true}
}

func desk(t testing.TB) *Desk {
	tr, err := topic.NewTree("", "roof")
	require.NoError(t, err)
	return NewDesk(tr, &garden.Garden{Pots: []garden.Pot{{Zones: []garden.Zone{{ID: "chilli"}, {ID: "chard"}}}}})
}

func in30(id, rest string) string {
	return fmt.Sprintf(`{"id":%q,"expires":"2026-07-01T15:00:30+03:00",%s}`, id, rest)
}

func take(d *Desk, text string, now garden.Moment) (Wish, bool, string) {
	w, ok, r := d.Take(mqtt.Message{Topic: d.Filter(), Payload: []byte(text), At: now})
	var a answer
	_ = json.Unmarshal(r.Payload, &a)
	if a.Accepted != ok || r.Retain || !strings.HasSuffix(r.Topic, "/reply/"+a.ID) {
		panic("reply does not fit: " + r.Topic + " " + string(r.Payload))
	}
	return w, ok, a.Reason
}

func TestEveryCommand(t *testing.T) {
	for text, want := range map[string]Wish{
		`"do":"water","zone":"chilli","litres":2.5`:    {Do: Water, Ask: garden.Ask{Kind: garden.AskWater, Zone: "chilli", Litres: 2.5}},
		`"do":"feed","zone":"chard"`:                   {Do: Feed, Ask: garden.Ask{Kind: garden.AskFeed, Zone: "chard"}},
		`"do":"keep-shut","zone":"chard","minutes":90`: {Do: KeepShut, Ask: garden.Ask{Kind: garden.AskShut, Zone: "chard", Until: at(5400)}},
		`"do":"keep-shut","minutes":0.5`:               {Do: KeepShut, Ask: garden.Ask{Kind: garden.AskShut, Until: at(30)}},
		`"do":"release","zone":"chard"`:                {Do: Release, Ask: garden.Ask{Kind: garden.AskRelease, Zone: "chard"}},
		`"do":"release"`:                               {Do: Release, Ask: garden.Ask{Kind: garden.AskRelease}},
		`"do":"automatic-on"`:                          {Do: AutoOn, Ask: garden.Ask{Kind: garden.AskAutoOn}},
		`"do":"automatic-off"`:                         {Do: AutoOff, Ask: garden.Ask{Kind: garden.AskAutoOff}},
		`"do":"close-all"`:                             {Do: CloseAll},
		`"do":"stop","zone":"chard"`:                   {Do: Stop, Target: "chard"},
		`"do":"acknowledge","alarm":"no-flow-chilli"`:  {Do: Acknowledge, Target: "no-flow-chilli"},
		`"do":"done","task":"t-12"`:                    {Do: Done, Target: "t-12"},
	} {
		w, ok, reason := take(desk(t), in30("a-1", text), at(0))
		require.True(t, ok, "%s: %s", text, reason)
		contract.Fits(t, "command", in30("a-1", text))
		want.ID, want.Ask.Who = "a-1", "broker, a-1"
		assert.Equal(t, want, w, text)
		assert.Equal(t, w.Do != CloseAll && w.Do != Stop && w.Do != Acknowledge && w.Do != Done, w.ForController())
	}
}

func TestRefusals(t *testing.T) {
	water := `"do":"water","zone":"chilli","litres":2`
	for name, c := range map[string]struct{ text, why string }{
		"nothing":               {"", "empty"},
		"no JSON":               {"water", "JSON"},
		"not UTF-8":             {"{\"id\":\"\xff\"}", "UTF-8"},
		"an array":              {"[]", "JSON"},
		"deep":                  {strings.Repeat("[", 100), "deeper"},
		"large":                 {in30("a", water+`,"x":"`+strings.Repeat("x", 1024)+`"`), "bytes"},
		"unknown field":         {in30("a", water+`,"force":true`), "force"},
		"unknown command":       {in30("a", `"do":"open"`), "no command"},
		"key in capitals":       {in30("a", `"do":"water","zone":"chilli","Litres":2`), "Litres"},
		"twice the same key":    {in30("a", water+`,"litres":900`), "litres"},
		"number as text":        {in30("a", `"do":"water","zone":"chilli","litres":"2"`), "litres"},
		"NaN":                   {in30("a", `"do":"water","zone":"chilli","litres":NaN`), "JSON"},
		"infinite":              {in30("a", `"do":"water","zone":"chilli","litres":1e999`), "litres"},
		"none":                  {in30("a", `"do":"water","zone":"chilli","litres":0`), "more than 0"},
		"negative":              {in30("a", `"do":"water","zone":"chilli","litres":-1`), "more than 0"},
		"a flood":               {in30("a", `"do":"water","zone":"chilli","litres":1001`), "at most"},
		"litres missing":        {in30("a", `"do":"water","zone":"chilli"`), `needs "litres"`},
		"zone missing":          {in30("a", `"do":"water","litres":2`), `needs "zone"`},
		"zone null":             {in30("a", `"do":"water","litres":2,"zone":null`), `needs "zone"`},
		"no such zone":          {in30("a", `"do":"water","zone":"roses","litres":2`), "no zone"},
		"all zones":             {in30("a", `"do":"water","zone":"#","litres":2`), "no zone"},
		"too much said":         {in30("a", `"do":"release","zone":"chilli","litres":2`), `takes no "litres"`},
		"shut without an end":   {in30("a", `"do":"keep-shut"`), `needs "minutes"`},
		"shut for ever":         {in30("a", `"do":"keep-shut","minutes":1e9`), "at most"},
		"alarm that is no id":   {in30("a", `"do":"acknowledge","alarm":"../x"`), "id"},
		"no id":                 {`{"do":"close-all","expires":"2026-07-01T12:00:30Z"}`, "no id"},
		"id that is no topic":   {in30("a/+", `"do":"close-all"`), "no id"},
		"no expiry":             {`{"id":"a","do":"close-all"}`, "expires"},
		"expiry without offset": {`{"id":"a","do":"close-all","expires":"2026-07-01T12:00:30"}`, "expires"},
		"late":                  {`{"id":"a","do":"close-all","expires":"2026-07-01T11:59:59Z"}`, "late"},
		"valid for a day":       {`{"id":"a","do":"close-all","expires":"2026-07-02T12:00:00Z"}`, "allowed"},
		"something behind":      {in30("a", water) + "{}", "JSON"},
	} {
		t.Run(name, func(t *testing.T) {
			w, ok, why := take(desk(t), c.text, at(0))
			assert.False(t, ok)
			assert.Equal(t, Wish{}, w)
			assert.Contains(t, why, c.why)
			// What the schema can see it refuses as well.
			switch name {
			case "no such zone", "late", "valid for a day", "twice the same key", "large":
			default:
				assert.Error(t, contract.Judge(t, "command", c.text))
			}
		})
	}
	t.Run("retained", func(t *testing.T) {
		d := desk(t)
		_, ok, r := d.Take(mqtt.Message{Payload: []byte(in30("a", water)), Retain: true, At: at(0)})
		assert.False(t, ok)
		assert.Contains(t, string(r.Payload), "retain")
	})
	t.Run("clock not certain", func(t *testing.T) {
		m := at(0)
		m.Synced, m.Wall = false, time.Unix(0, 0)
		for text, want := range map[string]bool{water: false, `"do":"feed","zone":"chard"`: false, `"do":"release"`: false, `"do":"automatic-on"`: false,
			`"do":"close-all"`: true, `"do":"keep-shut","minutes":5`: true, `"do":"automatic-off"`: true, `"do":"done","task":"x"`: true} {
			_, ok, _ := take(desk(t), in30("a", text), m)
			assert.Equal(t, want, ok, text)
		}
	})
}

func TestRepeatedAndTooMany(t *testing.T) {
	d := desk(t)
	water := in30("a", `"do":"water","zone":"chilli","litres":2`)
	_, ok, _ := take(d, water, at(0))
	require.True(t, ok)
	for _, s := range []float64{0, 1, 29.9} {
		_, ok, why := take(d, water, at(s))
		assert.False(t, ok)
		assert.Contains(t, why, "repeated")
	}
	_, ok, _ = take(d, in30("a", `"do":"close-all"`), at(3))
	assert.False(t, ok, "an id is an id, whatever it asks for")
	taken := 0
	for i := range 200 {
		if _, ok, _ := take(d, in30(fmt.Sprintf("b-%d", i), `"do":"release"`), at(1)); ok {
			taken++
		}
	}
	assert.InDelta(t, perMinute, taken, 2)
	for i := range 2000 {
		_, ok, why := take(d, in30(fmt.Sprintf("c-%d", i), `"do":"close-all"`), at(1))
		require.True(t, ok, "closing is never too much: %s", why)
	}
	assert.LessOrEqual(t, len(d.seen), remembered)
	_, ok, _ = take(d, fmt.Sprintf(`{"id":"a","do":"release","expires":%q}`, noon.Add(22*time.Minute).Format(time.RFC3339)), at(21*60))
	assert.True(t, ok, "after an id has expired for sure it is forgotten")
}

// TestOverABroker asks as an outside client would and reads the answer.
func TestOverABroker(t *testing.T) {
	rig.Each(t, func(t *testing.T, s rig.Server) {
		d := desk(t)
		o := rig.Quick(s.Addr(), "desk")
		o.Clock = func() garden.Moment { return garden.Moment{Mono: time.Hour, Wall: time.Now(), Synced: true} }
		out := rig.Outsider(t, s.Addr(), "person")
		// One is left in the broker from before, as a careless hub would.
		left := fmt.Sprintf(`{"id":"left","do":"water","zone":"chilli","litres":2,"expires":%q}`, time.Now().Add(time.Minute).Format(time.RFC3339))
		passed := rig.Heard(t, out, d.Filter())
		rig.Publish(t, out, d.Filter(), 1, true, left)
		// Until the broker has handed it round, whoever subscribes would get it
		// twice: as the retained one and as news.
		rig.Next(t, passed, "the retained command, as news")
		var in *mqtt.Inbox
		l := rig.Link(t, o, func(l *mqtt.Link) { in, _ = l.Subscribe(d.Filter(), 1, 16) })
		rig.Up(t, l)
		heard := rig.Heard(t, out, "fabricpot/roof/reply/+")
		serve := func() (Wish, bool) {
			w, ok, reply := d.Take(rig.Next(t, in.C(), "command"))
			require.NoError(t, l.Send(reply, time.Second))
			return w, ok
		}
		_, ok := serve()
		assert.False(t, ok, "the retained one")
		assert.Equal(t, "fabricpot/roof/reply/left", rig.Next(t, heard, "refusal").Topic())
		ask := strings.Replace(left, "left", "now", 1)
		rig.Publish(t, out, d.Filter(), 1, false, ask)
		w, ok := serve()
		assert.True(t, ok)
		assert.Equal(t, 2.0, w.Ask.Litres)
		yes := string(rig.Next(t, heard, "answer").Payload())
		assert.Contains(t, yes, `"accepted":true`)
		contract.Fits(t, "reply", yes)
		rig.Publish(t, out, d.Filter(), 1, false, ask)
		_, ok = serve()
		assert.False(t, ok, "the same again")
		rig.Publish(t, out, d.Filter(), 1, true, "")
	})
}

func FuzzTake(f *testing.F) {
	f.Add([]byte(in30("a", `"do":"water","zone":"chilli","litres":2`)), false)
	f.Add([]byte(in30("a", `"do":"keep-shut","minutes":2`)), false)
	f.Add([]byte(`{"id":"a"}`), true)
	f.Add([]byte(strings.Repeat("[", 2000)), false)
	tr, _ := topic.NewTree("", "roof")
	f.Fuzz(func(t *testing.T, b []byte, retain bool) {
		d := desk(t)
		w, ok, r := d.Take(mqtt.Message{Payload: b, Retain: retain, At: at(0)})
		if k, _ := tr.Parse(r.Topic); k != topic.Reply || !json.Valid(r.Payload) {
			t.Fatalf("reply %q on %q", r.Payload, r.Topic)
		}
		if !ok {
			return
		}
		if retain || w.Do == Water && (!(w.Ask.Litres > 0) || w.Ask.Litres > MaxLitres || !d.zones[w.Ask.Zone]) {
			t.Fatalf("%+v from %q", w, b)
		}
		if _, again, _ := d.Take(mqtt.Message{Payload: b, At: at(1)}); again {
			t.Fatalf("taken twice: %q", b)
		}
	})
}

package hub

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
	"fabricpot/mqtt"
	"fabricpot/mqtt/command"
	"fabricpot/mqtt/topic"
)

// update rewrites the golden files; read the difference before committing it.
func update() bool {
	f := flag.Lookup("update")
	return f != nil && f.Value.String() == "true"
}

func TestMain(m *testing.M) {
	flag.Bool("update", false, "rewrite golden files")
	flag.Parse()
	os.Exit(m.Run())
}

func tree(t testing.TB) topic.Tree {
	tr, err := topic.NewTree("", "roof")
	require.NoError(t, err)
	return tr
}

// terrace is an invented snapshot: a watered zone, one tended by hand about
// which little is known, and an alarm.
func terrace() *Snapshot {
	athens := time.FixedZone("EEST", 3*3600)
	return &Snapshot{
		SiteID: "roof", Name: "Roof terrace", Version: "0.0-test", Automatic: true, HasMeter: true, HasTank: true,
		SupplyLPH: garden.Known(0), TankL: garden.Known(180.04),
		Zones: []Zone{
			{ID: "chilli", Name: "Chilli", Line: "south", State: garden.Soaking, Water: garden.Known(0.4136), HeldL: garden.Known(20.68), HoursLeft: garden.Known(17.4),
				LastAt: time.Date(2026, 7, 1, 6, 30, 0, 0, athens), LastL: garden.Known(2.25), TotalL: garden.Known(310.2), FeedDue: time.Date(2026, 7, 4, 7, 0, 0, 0, athens), DefaultL: 1.5},
			{ID: "chard", Name: "Chard", State: garden.KeptShut, KeptShut: true, Problem: `probe "c1": no answer`},
		},
		Lines:  []Line{{ID: "south", Name: "South line", Open: true, Known: true}},
		Alarms: []Alarm{{ID: "probe-c1-missing", Text: "Probe c1 does not answer.", Next: "Look at its plug.", Since: time.Date(2026, 7, 1, 5, 0, 0, 0, athens)}},
		Tasks:  []Task{{ID: "water-chard", Text: "Water the chard: 3 L", Zone: "chard"}},
	}
}

func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	file := filepath.Join("testdata", name)
	if update() {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(file, got, 0o644))
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err)
	assert.Equal(t, string(want), string(got), "run with -update and read the difference")
}

func pretty(t *testing.T, b []byte) []byte {
	var out bytes.Buffer
	require.NoError(t, json.Indent(&out, b, "", "  "))
	out.WriteByte('\n')
	return out.Bytes()
}

func script(ms []mqtt.Message) []byte {
	var out bytes.Buffer
	for _, m := range ms {
		kept := " "
		if m.Retain {
			kept = "r"
		}
		out.WriteString(kept + string('0'+m.QoS) + " " + m.Topic + " " + string(m.Payload) + "\n")
	}
	return out.Bytes()
}

func TestOwnTopics(t *testing.T) {
	ms, err := Own(tree(t), terrace())
	require.NoError(t, err)
	golden(t, "own.txt", script(ms))
}

func TestDiscoveryDocument(t *testing.T) {
	m, live, err := Discovery(tree(t), "", terrace(), map[string]string{"zone-basil-water": "sensor", "zone-basil-valve": "valve"})
	require.NoError(t, err)
	assert.Equal(t, "homeassistant/device/fabricpot-roof/config", m.Topic)
	assert.Empty(t, Validate(m.Topic, m.Retain, m.Payload))
	assert.Equal(t, "valve", live["zone-chilli-valve"])
	assert.NotContains(t, live, "zone-chard-valve", "no line, no valve")
	assert.NotContains(t, live, "zone-basil-water", "gone")
	golden(t, "discovery.json", pretty(t, m.Payload))
	for _, bad := range []string{"", "Roof", "a/b"} {
		s := terrace()
		s.SiteID = bad
		_, _, err := Discovery(tree(t), "", s, nil)
		assert.Error(t, err)
	}
}

// TestCommandTemplates fills the templates in by hand, as the hub would, and
// takes the result to the desk.
func TestCommandTemplates(t *testing.T) {
	m, _, err := Discovery(tree(t), "", terrace(), nil)
	require.NoError(t, err)
	var doc struct {
		Components map[string]struct {
			CommandTemplate string `json:"command_template"`
			CommandTopic    string `json:"command_topic"`
		}
	}
	require.NoError(t, json.Unmarshal(m.Payload, &doc))
	g := &garden.Garden{Pots: []garden.Pot{{Zones: []garden.Zone{{ID: "chilli"}, {ID: "chard"}}}}}
	desk := command.NewDesk(tree(t), g)
	now := garden.Moment{Mono: time.Hour, Wall: time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC), Synced: true}
	n := 0
	branch := regexp.MustCompile(`\{% if value == "([a-z-]+)" %\}(.*?)\{% endif %\}`)
	fill := func(template, value string) string {
		n++
		s := strings.ReplaceAll(template, "{% set t = now() %}", "")
		s = strings.ReplaceAll(s, "{{ (t.timestamp() * 1000000) | int }}", "17829072000000"+string(rune('a'+n)))
		s = strings.ReplaceAll(s, "{{ (t + timedelta(seconds=30)).isoformat() }}", "2026-07-01T15:00:30.123456+03:00")
		s = strings.ReplaceAll(s, "{{ value }}", value)
		return branch.ReplaceAllStringFunc(s, func(b string) string {
			if p := branch.FindStringSubmatch(b); p[1] == value {
				return p[2]
			}
			return ""
		})
	}
	for _, c := range []struct {
		key, value string
		want       command.Wish
	}{
		{"close-all", "close-all", command.Wish{Do: command.CloseAll}},
		{"automatic", "automatic-on", command.Wish{Do: command.AutoOn, Ask: garden.Ask{Kind: garden.AskAutoOn}}},
		{"automatic", "automatic-off", command.Wish{Do: command.AutoOff, Ask: garden.Ask{Kind: garden.AskAutoOff}}},
		{"zone-chilli-valve", "water", command.Wish{Do: command.Water, Ask: garden.Ask{Kind: garden.AskWater, Zone: "chilli", Litres: 1.5}}},
		{"zone-chilli-valve", "stop", command.Wish{Do: command.Stop, Target: "chilli"}},
		{"zone-chard-shut", "keep-shut", command.Wish{Do: command.KeepShut, Ask: garden.Ask{Kind: garden.AskShut, Zone: "chard", Until: now.Add(7 * 24 * time.Hour)}}},
		{"zone-chard-shut", "release", command.Wish{Do: command.Release, Ask: garden.Ask{Kind: garden.AskRelease, Zone: "chard"}}},
	} {
		comp := doc.Components[c.key]
		require.Equal(t, desk.Filter(), comp.CommandTopic, c.key)
		text := fill(comp.CommandTemplate, c.value)
		require.NotContains(t, text, "{{")
		require.NotContains(t, text, "{%")
		w, ok, reply := desk.Take(mqtt.Message{Topic: desk.Filter(), Payload: []byte(text), At: now})
		require.True(t, ok, "%s: %s", text, reply.Payload)
		c.want.ID, c.want.Ask.Who = w.ID, w.Ask.Who
		assert.Equal(t, c.want, w, c.key)
	}
}

func TestValidatorFindsWhatIsWrong(t *testing.T) {
	m, _, err := Discovery(tree(t), "", terrace(), nil)
	require.NoError(t, err)
	change := func(f func(root, comps map[string]any)) []error {
		var root map[string]any
		require.NoError(t, json.Unmarshal(m.Payload, &root))
		f(root, root["components"].(map[string]any))
		b, err := json.Marshal(root)
		require.NoError(t, err)
		return Validate(m.Topic, true, b)
	}
	comp := func(key, field string, v any) func(_, c map[string]any) {
		return func(_, c map[string]any) {
			if v == nil {
				delete(c[key].(map[string]any), field)
				return
			}
			c[key].(map[string]any)[field] = v
		}
	}
	const water, total, valve = "zone-chilli-water", "zone-chilli-total", "zone-chilli-valve"
	for name, c := range map[string]struct {
		f    func(root, comps map[string]any)
		want string
	}{
		"unknown root key":             {func(r, _ map[string]any) { r["garden"] = 1 }, "unknown key"},
		"no origin":                    {func(r, _ map[string]any) { delete(r, "origin") }, "origin"},
		"no identifiers":               {func(r, _ map[string]any) { r["device"] = map[string]any{"name": "x"} }, "identifiers"},
		"no components":                {func(r, _ map[string]any) { delete(r, "components") }, "components"},
		"key in capitals":              {func(_, c map[string]any) { c["Zone_1"] = map[string]any{"platform": "sensor"} }, "component key"},
		"unknown platform":             {comp(water, "platform", "pump"), "not one of ours"},
		"unknown key":                  {comp(water, "unit", "%"), "knows no key"},
		"entity id without domain":     {comp(water, "default_entity_id", "chilli_water"), "default_entity_id"},
		"entity id of another domain":  {comp(valve, "default_entity_id", "switch.x"), "default_entity_id"},
		"entity id with hyphen":        {comp(water, "default_entity_id", "sensor.a-b"), "default_entity_id"},
		"no unique id":                 {comp(water, "unique_id", nil), "unique_id"},
		"the same unique id":           {comp(water, "unique_id", "fabricpot-roof-"+total), "is also that of"},
		"moisture in litres":           {comp(water, "unit_of_measurement", "L"), "moisture in"},
		"moisture without unit":        {comp(water, "unit_of_measurement", nil), "moisture in"},
		"total that is a measurement":  {comp(total, "state_class", "measurement"), "is a total"},
		"total without state class":    {comp(total, "state_class", nil), "is a total"},
		"a volume that is measured":    {comp("zone-chilli-held", "device_class", "volume"), "is a total"},
		"timestamp with a unit":        {comp("zone-chilli-last-at", "unit_of_measurement", "h"), "no unit"},
		"no such class":                {comp(water, "device_class", "wetness"), "not one of ours"},
		"no such state class":          {comp(water, "state_class", "falling"), "does not exist"},
		"valve that reports position":  {comp(valve, "reports_position", true), "reports_position"},
		"valve that says nothing":      {comp(valve, "reports_position", nil), "reports_position"},
		"valve without state":          {comp(valve, "state_topic", nil), "needs state_topic"},
		"wildcard topic":               {comp(valve, "command_topic", "a/#"), "no topic"},
		"retained commands":            {comp(valve, "retain", true), "must not be retained"},
		"event without types":          {comp("alarm", "event_types", nil), "event_types"},
		"button without command topic": {comp("close-all", "command_topic", nil), "needs command_topic"},
	} {
		t.Run(name, func(t *testing.T) {
			errs := change(c.f)
			require.NotEmpty(t, errs)
			assert.Contains(t, errors.Join(errs...).Error(), c.want)
		})
	}
	assert.Empty(t, change(func(_, _ map[string]any) {}))
	assert.NotEmpty(t, Validate(m.Topic, false, m.Payload), "not retained")
	assert.NotEmpty(t, Validate("homeassistant/sensor/x/config", true, m.Payload))
	assert.NotEmpty(t, Validate(m.Topic, true, []byte("[")))
}

func TestTimestampsHaveAnOffset(t *testing.T) {
	ms, err := Own(tree(t), terrace())
	require.NoError(t, err)
	for _, m := range ms {
		if strings.HasSuffix(m.Topic, "zone/chilli") {
			var z map[string]any
			require.NoError(t, json.Unmarshal(m.Payload, &z))
			for _, k := range []string{"last_watering_at", "feed_due_at"} {
				_, err := time.Parse(time.RFC3339, z[k].(string))
				assert.NoError(t, err)
				assert.Regexp(t, `(Z|[+-]\d\d:\d\d)$`, z[k])
			}
		}
	}
}

func FuzzValidate(f *testing.F) {
	m, _, _ := Discovery(topic.Tree{}, "", terrace(), nil)
	f.Add(m.Payload)
	f.Add([]byte(`{"components":{"a":null,"b":{"platform":"event","event_types":[null]}}}`))
	f.Fuzz(func(t *testing.T, b []byte) { Validate("a/device/b/config", true, b) })
}

// desk records what is posted; it refuses while full.
type desk struct {
	got  []mqtt.Message
	full bool
}

func (d *desk) Post(m mqtt.Message) error {
	if d.full {
		return mqtt.ErrFull
	}
	d.got = append(d.got, m)
	return nil
}

func (d *desk) topics() (said, gone []string) {
	for _, m := range d.got {
		if len(m.Payload) == 0 {
			gone = append(gone, m.Topic)
		} else {
			said = append(said, m.Topic)
		}
	}
	d.got = nil
	return said, gone
}

func publisher(t *testing.T, file string, s *Snapshot) (*Publisher, *desk, *desk) {
	h, err := NewHomie(tree(t), "", s, 1782900000)
	require.NoError(t, err)
	d, hd := &desk{}, &desk{}
	p, err := NewPublisher(d, Options{Tree: tree(t), Discovery: "homeassistant", Homie: h, HomieLink: hd, Memory: File(file), Jitter: func() time.Duration { return 3 * time.Second }})
	require.NoError(t, err)
	return p, d, hd
}

func TestPublisherSaysWhatIsNew(t *testing.T) {
	s := terrace()
	p, d, hd := publisher(t, filepath.Join(t.TempDir(), "published.json"), s)
	require.NoError(t, p.Publish(s))
	said, gone := d.topics()
	assert.Len(t, said, 7, "document, line, two zones, alarm, tasks, status")
	assert.Empty(t, gone)
	hd.topics()
	require.NoError(t, p.Publish(s))
	said, gone = d.topics()
	assert.Empty(t, said, "nothing new, nothing said")
	assert.Empty(t, gone)
	s.Zones[0].Water = garden.Known(0.41361)
	require.NoError(t, p.Publish(s))
	said, _ = d.topics()
	assert.Empty(t, said, "a tremble is not news")
	s.Zones[0].Water = garden.Known(0.52)
	s.Alarms = nil
	require.NoError(t, p.Publish(s))
	said, gone = d.topics()
	assert.Equal(t, []string{"fabricpot/roof/zone/chilli", "fabricpot/roof/status"}, said)
	assert.Equal(t, []string{"fabricpot/roof/alarm/probe-c1-missing"}, gone)
	said, gone = hd.topics()
	assert.Equal(t, []string{"homie/5/fabricpot-roof/zone-chilli/water"}, said)
	assert.Equal(t, []string{"homie/5/fabricpot-roof/$alert/probe-c1-missing"}, gone)
	d.full = true
	s.Zones[0].KeptShut = true
	assert.ErrorIs(t, p.Publish(s), mqtt.ErrFull)
	d.full = false
	require.NoError(t, p.Publish(s))
	said, _ = d.topics()
	assert.Equal(t, []string{"fabricpot/roof/zone/chilli"}, said, "tried again")
}

func TestWhatLeftTheGardenFileIsCleared(t *testing.T) {
	file := filepath.Join(t.TempDir(), "published.json")
	s := terrace()
	p, _, _ := publisher(t, file, s)
	require.NoError(t, p.Publish(s))
	// The next run has no chilli and no line.
	s = terrace()
	s.Zones, s.Lines, s.Alarms = s.Zones[1:], nil, nil
	p, d, hd := publisher(t, file, s)
	require.NoError(t, p.Publish(s))
	doc := d.got[0]
	_, gone := d.topics()
	assert.Equal(t, []string{"fabricpot/roof/alarm/probe-c1-missing", "fabricpot/roof/line/south", "fabricpot/roof/zone/chilli"}, gone)
	_, gone = hd.topics()
	assert.Contains(t, gone, "homie/5/fabricpot-roof/zone-chilli/water")
	assert.NotContains(t, gone, "homie/5/fabricpot-roof/$description")
	assert.Contains(t, string(doc.Payload), `"zone-chilli-valve":{"platform":"valve"}`, "named once more to be taken away")
	assert.Empty(t, Validate(doc.Topic, doc.Retain, doc.Payload))
	// And the one after has nothing left to clear.
	p, d, _ = publisher(t, file, s)
	require.NoError(t, p.Publish(s))
	_, gone = d.topics()
	assert.Empty(t, gone)
}

func TestABrokenMemoryIsReportedAndReplaced(t *testing.T) {
	file := filepath.Join(t.TempDir(), "published.json")
	require.NoError(t, os.WriteFile(file, []byte("{"), 0o600))
	d := &desk{}
	p, err := NewPublisher(d, Options{Tree: tree(t), Memory: File(file)})
	require.Error(t, err)
	require.NoError(t, p.Publish(terrace()))
	_, err = File(file).Load()
	assert.NoError(t, err)
}

func TestBirth(t *testing.T) {
	s := terrace()
	p, d, _ := publisher(t, filepath.Join(t.TempDir(), "p"), s)
	assert.Equal(t, []string{"homeassistant/status"}, p.Filters())
	require.NoError(t, p.Publish(s))
	d.topics()
	birth := mqtt.Message{Topic: "homeassistant/status", Payload: []byte("online"), At: garden.Moment{Mono: time.Minute}}
	p.Take(birth)
	birth.At.Mono += time.Second
	p.Take(birth)
	require.NoError(t, p.Tick(time.Minute+2*time.Second))
	assert.Empty(t, d.got, "not all devices of the house at once")
	require.NoError(t, p.Tick(time.Minute+3*time.Second))
	said, _ := d.topics()
	assert.Equal(t, []string{"homeassistant/device/fabricpot-roof/config"}, said)
	require.NoError(t, p.Tick(time.Hour))
	p.Take(mqtt.Message{Topic: "homeassistant/status", Payload: []byte("offline")})
	p.Take(mqtt.Message{Topic: "other", Payload: []byte("online")})
	require.NoError(t, p.Tick(2*time.Hour))
	assert.Empty(t, d.got)
}

func TestHomie(t *testing.T) {
	s := terrace()
	h, err := NewHomie(tree(t), "", s, 1782900000)
	require.NoError(t, err)
	hello := h.Greeting()
	golden(t, "homie.txt", script(hello))
	d, err := h.description(s)
	require.NoError(t, err)
	golden(t, "homie-description.json", pretty(t, d.Payload))
	t.Run("order of a connection", func(t *testing.T) {
		assert.Equal(t, "init", string(hello[0].Payload))
		assert.True(t, strings.HasSuffix(hello[1].Topic, "/$description"))
		assert.Equal(t, "ready", string(hello[len(hello)-1].Payload))
		assert.Equal(t, "lost", string(h.Will().Payload))
		assert.Equal(t, "disconnected", string(h.Farewell().Payload))
	})
	t.Run("every value fits its description", func(t *testing.T) {
		var doc struct {
			Nodes map[string]struct{ Properties map[string]property }
		}
		require.NoError(t, json.Unmarshal(d.Payload, &doc))
		seen := 0
		for _, m := range h.Values(s) {
			parts := strings.Split(strings.TrimPrefix(m.Topic, h.base+"/"), "/")
			for _, id := range parts {
				assert.True(t, garden.ValidID(strings.TrimPrefix(id, "$")), m.Topic)
			}
			assert.True(t, m.Retain)
			if parts[0] == "$alert" {
				continue
			}
			p, ok := doc.Nodes[parts[0]].Properties[parts[1]]
			require.True(t, ok, m.Topic)
			seen++
			v := string(m.Payload)
			if v == "" {
				continue // unknown: taken away
			}
			switch p.Datatype {
			case "float":
				assert.Regexp(t, `^-?\d+(\.\d+)?$`, v, m.Topic)
			case "boolean":
				assert.Contains(t, []string{"true", "false"}, v, m.Topic)
			case "datetime":
				_, err := time.Parse(time.RFC3339, v)
				assert.NoError(t, err, m.Topic)
			case "string":
			default:
				t.Errorf("%s is a retained %s", m.Topic, p.Datatype)
			}
		}
		n := 0
		for _, node := range doc.Nodes {
			for _, p := range node.Properties {
				if p.Retained == nil {
					n++
				}
				assert.True(t, slices.Contains([]string{"integer", "float", "boolean", "string", "enum", "color", "datetime", "duration", "json"}, p.Datatype))
			}
		}
		assert.Equal(t, n, seen, "and every retained property has its value")
	})
}

func TestHomieCommands(t *testing.T) {
	h, err := NewHomie(tree(t), "", terrace(), 1)
	require.NoError(t, err)
	at := func(s int) garden.Moment { return garden.Moment{Mono: time.Hour + time.Duration(s)*time.Second} }
	take := func(name, value string, s int, retain bool) (command.Wish, string) {
		return h.Take(mqtt.Message{Topic: "homie/5/fabricpot-roof/" + name + "/set", Payload: []byte(value), Retain: retain, At: at(s)})
	}
	w, why := take("zone-chilli/valve", "true", 0, false)
	require.Empty(t, why)
	assert.Equal(t, command.Wish{ID: "homie-1", Do: command.Water, Ask: garden.Ask{Kind: garden.AskWater, Zone: "chilli", Litres: 1.5, Who: "hub, homie-1"}}, w)
	_, why = take("zone-chilli/valve", "true", 1, false)
	assert.Contains(t, why, "repeated")
	w, _ = take("zone-chilli/valve", "false", 1, false)
	assert.Equal(t, command.Stop, w.Do)
	assert.Equal(t, "chilli", w.Target)
	w, _ = take("zone-chard/shut", "true", 1, false)
	assert.Equal(t, at(1).Add(shutMinutes*time.Minute), w.Ask.Until)
	w, _ = take("zone-chard/shut", "false", 1, false)
	assert.Equal(t, garden.AskRelease, w.Ask.Kind)
	w, _ = take("gateway/automatic", "false", 1, false)
	assert.Equal(t, garden.AskAutoOff, w.Ask.Kind)
	for range 3 {
		w, _ = take("gateway/close-all", "press", 1, false)
		assert.Equal(t, command.CloseAll, w.Do, "closing is never too often")
	}
	for _, bad := range [][2]string{{"zone-chilli/valve", "TRUE"}, {"zone-chilli/valve", ""}, {"zone-chilli/valve", "press"}, {"zone-chilli/water", "true"}, {"zone-chard/valve", "true"}, {"zone-roses/shut", "true"}, {"gateway/close-all", "true"}, {"gateway/version", "true"}, {"a/b/c", "true"}} {
		w, why := take(bad[0], bad[1], 9, false)
		assert.NotEmpty(t, why, "%v", bad)
		assert.Equal(t, command.Wish{}, w)
	}
	_, why = take("zone-chilli/valve", "true", 9, true)
	assert.Contains(t, why, "retained")
	assert.True(t, topic.Match(h.Filter(), "homie/5/fabricpot-roof/zone-chilli/valve/set"))
}

func FuzzHomieTake(f *testing.F) {
	h, _ := NewHomie(topic.Tree{}, "", terrace(), 1)
	f.Add("homie/5/fabricpot-roof/zone-chilli/valve/set", []byte("true"))
	f.Add("homie/5/fabricpot-roof/gateway/close-all/set", []byte("press"))
	f.Fuzz(func(t *testing.T, name string, b []byte) {
		w, why := h.Take(mqtt.Message{Topic: name, Payload: b})
		if why == "" && (w.Do == "" || w.Do == command.Water && w.Ask.Litres != 1.5) {
			t.Fatalf("%+v", w)
		}
		if len(h.recent) > 100 {
			t.Fatal("the map grows")
		}
	})
}

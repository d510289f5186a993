package page

import (
	"context"
	"errors"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/alarm"
	"fabricpot/control/garden"
	"fabricpot/control/task"
	"fabricpot/testdata"
)

func TestViews(t *testing.T) {
	s := newSite(t, func(o *Options) { o.NextFeed = func(garden.ZoneID) string { return "Thursday, 2 L" } })
	for _, c := range []struct {
		path string
		says []string
	}{
		{"/", []string{"Roof terrace, Thessaloniki", "Aubergine", "34" + apart + "L", "of 37" + apart + "L", "Needs water in 9" + apart + "h", "Resting",
			"about 17:00", "Next feed: Thursday, 2 L", "by you, about 17:00", "Nothing needs you.", "Today 20" + apart + "°C to 33" + apart + "°C", "no rain"}},
		{"/pot/aubergine", []string{"Holds 39.0 % water, under its refill point of 40.0 %", "Water now", "Keep shut", "Note what you saw", "give or take 1.5" + apart + "L", "can&#39;t be read right now: card is gone"}},
		{"/pot/chard", []string{"No line waters this pot; you do.", "I watered by hand"}},
		{"/pot/trough-bean?span=season", []string{"Cucumber, big pot"}},
		{"/rounds", []string{"Water Chard by the door", "Wanted in 9" + apart + "h"}},
		{"/health", []string{"No alarm.", "closed, confirmed", "Chard by the door: middle", "virtual bench", "journal.db", "US gallons"}},
		{"/pot/chilli/water?amount=2&unit=L", []string{"Water 2" + apart + "L?", "holds 17.1" + apart + "L now", "will hold about 19" + apart + "L", "20" + apart + "min in all", "Give 2" + apart + "L now"}},
		{"/pot/strawberry-east/water?offer=1&unit=L", []string{"Strawberries, west", "Through the line"}},
	} {
		t.Run(c.path, func(t *testing.T) {
			w := s.get(c.path)
			require.Equal(t, 200, w.Code)
			for _, words := range c.says {
				assert.True(t, strings.Contains(w.Body.String(), words), words)
			}
		})
	}
}

// A pot that misses less than is shown misses nothing that could be told.
func TestAPotAtItsRefillPoint(t *testing.T) {
	for missing, says := range map[float64]string{
		0: "Needs water: it is at its refill point", 0.01: "Needs water: it is at its refill point",
		0.5: "Needs water: 0.5" + apart + "L under its refill point",
	} {
		s := newSite(t, nil)
		left := -missing
		s.gate.status.Zones[0].ToRefillL = &left
		assert.Contains(t, s.get("/").Body.String(), says)
	}
}

func TestAnEmptyPotNeedsNothing(t *testing.T) {
	s := newSite(t, nil)
	require.Contains(t, s.get("/rounds").Body.String(), `href="/pot/chard"`, "no line waters it")
	for _, id := range []garden.ZoneID{"chilli", "chard"} {
		zs := zoneStatus(s.gate.status, id)
		zs.Empty, zs.ToRefillL, zs.HoursLeft, zs.HoursToDry = true, nil, nil, nil
		body := s.get("/pot/" + string(id)).Body.String()
		assert.Contains(t, body, "Empty: it gets no water until something is planted")
		assert.NotContains(t, body, "Next water")
	}
	assert.NotContains(t, s.get("/rounds").Body.String(), `href="/pot/chard"`)
}

// A line opens for all of its pots at once, an empty one too.
func TestAnEmptyPotOnASharedLineStillGetsWater(t *testing.T) {
	const shut = "Its line still brings it water with the others: shut its emitters"
	s := newSite(t, nil)
	empty, other := zoneStatus(s.gate.status, "chilli"), zoneStatus(s.gate.status, "aubergine")
	pull := func() string { return s.get("/pot/chilli/plant?go=yes&event=pulled").Body.String() }
	assert.NotContains(t, pull(), shut, "a line of its own")
	other.Line = empty.Line
	assert.Contains(t, pull(), shut)
	empty.Empty, empty.ToRefillL, empty.HoursLeft, empty.HoursToDry = true, nil, nil, nil
	body := s.get("/pot/chilli").Body.String()
	assert.Contains(t, body, "Empty, but its line still brings it water with the others: shut its emitters")
	assert.NotContains(t, body, "it gets no water")
	other.Empty = true
	assert.Contains(t, s.get("/pot/chilli").Body.String(), "Empty: it gets no water until something is planted", "nor does the other")
}

func TestUnitsPerBrowser(t *testing.T) {
	s := newSite(t, nil)
	w := s.post("/settings", "volume", "gal", "degrees", "F", "tone", "dark")
	require.Equal(t, 303, w.Code)
	body := s.get("/").Body.String()
	// NIST SP 811: a US gallon is 3.785412 L (from memory): 33.75 L are 8.9 gal; 33 °C are 91.4 °F.
	assert.Contains(t, body, "8.9"+apart+"gal")
	assert.Contains(t, body, "91"+apart+"°F")
	assert.Contains(t, body, `data-tone="dark"`)
	assert.Contains(t, s.get("/pot/aubergine").Body.String(), "5"+apart+"in deep", "12 cm")
	w = s.get("/pot/chilli/water?amount=1&unit=gal")
	assert.Contains(t, w.Body.String(), `name="litres" value="3.785"`)
	assert.Equal(t, 400, s.post("/settings", "volume", "barrel", "degrees", "F", "tone", "dark").Code)
}

func TestWaterThroughTheForm(t *testing.T) {
	s := newSite(t, nil)
	const ask = "/pot/chilli/water?amount=2&unit=L"
	ticket := s.ticketFor(ask, "/pot/chilli/water")
	assert.Empty(t, s.gate.asked(), "looking changes nothing")

	t.Run("another amount than was shown", func(t *testing.T) {
		assert.Equal(t, 409, s.post("/pot/chilli/water", "ticket", ticket, "litres", "20.000").Code)
	})
	t.Run("another pot than was shown", func(t *testing.T) {
		assert.Equal(t, 409, s.post("/pot/aubergine/water", "ticket", ticket, "litres", "2.000").Code)
	})
	require.Empty(t, s.gate.asked())
	w := s.post("/pot/chilli/water", "ticket", ticket, "litres", "2.000")
	require.Equal(t, 303, w.Code)
	assert.Equal(t, "/pot/chilli", w.Header().Get("Location"))
	require.Equal(t, []garden.Ask{{Kind: garden.AskWater, Zone: "chilli", Litres: 2, Who: "page"}}, s.gate.asked())
	assert.Contains(t, s.get("/pot/chilli").Body.String(), "Asked for 2"+apart+"L.")
	assert.NotContains(t, s.get("/pot/chilli").Body.String(), "Asked for 2", "told once")

	t.Run("replayed", func(t *testing.T) {
		w := s.post("/pot/chilli/water", "ticket", ticket, "litres", "2.000")
		assert.Equal(t, 409, w.Code)
		assert.Contains(t, w.Body.String(), "Nothing was done.")
		assert.Len(t, s.gate.asked(), 1)
	})
	t.Run("too old", func(t *testing.T) {
		ticket := s.ticketFor(ask, "/pot/chilli/water")
		s.now = s.now.Add(formLife + time.Second)
		assert.Equal(t, 409, s.post("/pot/chilli/water", "ticket", ticket, "litres", "2.000").Code)
		assert.Len(t, s.gate.asked(), 1)
	})
	t.Run("the gateway says no", func(t *testing.T) {
		ticket := s.ticketFor(ask, "/pot/chilli/water")
		s.gate.fail = errors.New("the gateway is stopping")
		w := s.post("/pot/chilli/water", "ticket", ticket, "litres", "2.000")
		s.gate.fail = nil
		assert.Equal(t, 503, w.Code)
		assert.Contains(t, w.Body.String(), "the gateway is stopping")
	})
}

// TestWaterOutsideTheHours: a wish that could not be met within the hour is not taken.
func TestWaterOutsideTheHours(t *testing.T) {
	s := newSite(t, func(o *Options) {
		o.Garden.Supply.Hours = []garden.DayWindow{{From: 5 * time.Hour, To: 9 * time.Hour}, {From: 18 * time.Hour, To: 22 * time.Hour}}
	})
	const ask = "/pot/chilli/water?amount=2&unit=L"
	ticket := s.ticketFor(ask, "/pot/chilli/water")
	at := func(hour, minute int) {
		was := s.gate.status.At
		s.gate.status.At = time.Date(was.Year(), was.Month(), was.Day(), hour, minute, 0, 0, was.Location())
	}
	at(14, 10)
	body := s.get(ask).Body.String()
	assert.Contains(t, body, "The next time it is begins at 18:00: ask then.")
	assert.NotContains(t, body, `name="litres"`, "no button that promises it")
	w := s.post("/pot/chilli/water", "ticket", ticket, "litres", "2.000")
	assert.Equal(t, 409, w.Code)
	assert.Contains(t, w.Body.String(), "begins at 18:00")
	assert.Contains(t, w.Body.String(), "Nothing was done.")
	assert.Empty(t, s.gate.asked())

	at(17, 30)
	assert.Contains(t, s.get(ask).Body.String(), "What you ask for waits until 18:00, when it is.")
	assert.Equal(t, 303, s.post("/pot/chilli/water", "ticket", ticket, "litres", "2.000").Code)
	assert.Len(t, s.gate.asked(), 1)
	zoneStatus(s.gate.status, "chilli").Asked = &runner.AskedStatus{Litres: 2, Until: s.gate.status.At.Add(time.Hour), Waits: garden.OutsideHours.String()}
	assert.Contains(t, s.get("/pot/chilli").Body.String(), "2"+apart+"L asked for. Given up at 18:30 if it can&#39;t be given before. It waits: outside the hours when watering is allowed.")

	s.gate.status.Synced = false
	at(14, 10)
	assert.Contains(t, s.get(ask).Body.String(), `name="litres"`, "a clock that is not confirmed has no hours")
}

// TestAStartConfirmsItsLines: until it is an alarm neither banner nor lines say that all is
// well, or that somebody has to go.
func TestAStartConfirmsItsLines(t *testing.T) {
	s := newSite(t, nil)
	st := s.gate.status
	for i := range st.Lines {
		st.Lines[i].Confirmed = false
	}
	body := s.get("/health").Body.String()
	assert.Contains(t, body, tConfirming)
	assert.Contains(t, body, tClosedSoon)
	assert.NotContains(t, body, tAllWell)
	assert.NotContains(t, body, tClosedNo)

	st.Lines[1].UnconfirmedS = 120
	body = s.get("/health").Body.String()
	assert.Contains(t, body, tUnconfirmed, "long after it was told, with no alarm of its own")
	assert.Equal(t, 1, strings.Count(body, tClosedNo))
	st.Lines[1].UnconfirmedS = 0

	st.Alarms = []runner.AlarmLine{{Name: alarm.NotClosed.String(), About: string(st.Lines[0].Line), State: "raised", Since: st.At, Active: true}}
	body = s.get("/health").Body.String()
	assert.Contains(t, body, "1 thing needs you")
	assert.Equal(t, 1, strings.Count(body, tClosedNo), "the others have no alarm yet")
}

// TestAlarmsThatNobodyNeedSee: the button is there for what waits to be seen alone, and what
// rests without standing is no alarm.
func TestAlarmsThatNobodyNeedSee(t *testing.T) {
	asked := 0
	s := newSite(t, func(o *Options) {
		o.Acknowledge = func(context.Context, string, string, string) error { asked++; return errors.New("waits no more") }
	})
	at := s.gate.status.At
	until := at.Add(3 * time.Hour)
	s.gate.status.Alarms = []runner.AlarmLine{{Name: "no flow", About: "bean", State: "raised", Since: at, Active: true}}
	ticket := s.ticketFor("/health", "/health/seen")
	assert.Contains(t, s.get("/").Body.String(), "1 thing needs you")

	s.gate.status.Alarms = []runner.AlarmLine{
		{Name: "no flow", About: "bean", State: "acknowledged", Since: at, Active: true, Acknowledged: true},
		{Name: "frost", State: "out of service", Since: at, Active: true, OutUntil: &until},
		{Name: "tank low", State: "out of service", OutUntil: &until},
	}
	body := s.get("/health").Body.String()
	assert.NotContains(t, body, tAck)
	assert.Contains(t, body, "Tank low: does not stand, and nobody is told until 11:00")
	assert.NotContains(t, body, "January")
	assert.Contains(t, s.get("/").Body.String(), tAllWell)
	w := s.post("/health/seen", "ticket", ticket, "name", "no flow", "about", "bean")
	assert.Equal(t, 303, w.Code, "a form that lay open meanwhile")
	assert.Zero(t, asked)
}

// TestAlarmsAtRest: an alarm is put to rest and told of again by the forms beside it, each
// bound to its alarm and good once.
func TestAlarmsAtRest(t *testing.T) {
	type rested struct {
		name, about string
		long        time.Duration
	}
	var got []rested
	var fails error
	s := newSite(t, func(o *Options) {
		o.Rest = func(_ context.Context, name, about string, long time.Duration, _ string) error {
			got = append(got, rested{name, about, long})
			return fails
		}
	})
	at := s.gate.status.At
	until := at.Add(3 * time.Hour)
	s.gate.status.Alarms = []runner.AlarmLine{
		{Name: "no flow", About: "bean", State: "raised", Since: at, Active: true},
		{Name: "probe in doubt", About: "chilli-middle", State: "out of service", Since: at, Active: true, OutUntil: &until},
		{Name: "tank low", State: "out of service", OutUntil: &until},
	}
	tickets := func() (out []string) {
		body := s.get("/health").Body.String()
		assert.Contains(t, body, "chilli-middle · nobody is told until 11:00")
		assert.Equal(t, 1, strings.Count(body, `value="month"`), "of what is in service")
		assert.Equal(t, 2, strings.Count(body, `value="back"`))
		for _, form := range regexp.MustCompile(`(?s)action="/health/rest".*?name="ticket" value="([^"]*)"`).FindAllStringSubmatch(body, -1) {
			out = append(out, form[1])
		}
		require.Len(t, out, 3)
		return out
	}
	flow, probe, tank := func() (string, string, string) { x := tickets(); return x[0], x[1], x[2] }()
	rest := func(ticket, name, about, long string) int {
		return s.post("/health/rest", "ticket", ticket, "name", name, "about", about, "for", long).Code
	}
	assert.Equal(t, 409, rest(flow, "tank low", "", "day"), "another's ticket")
	assert.Equal(t, 400, rest(flow, "no flow", "bean", "ever"))
	assert.Equal(t, 404, rest(flow, "no flow", "chilli", "day"))
	assert.Empty(t, got)
	assert.Equal(t, 303, rest(flow, "no flow", "bean", "week"))
	assert.Contains(t, s.get("/health").Body.String(), "Nobody is told of it until 10 July 08:00.")
	assert.Equal(t, 409, rest(flow, "no flow", "bean", "week"), "good once")
	assert.Equal(t, 303, rest(probe, "probe in doubt", "chilli-middle", "back"))
	assert.Equal(t, 303, rest(tank, "tank low", "", "back"))
	assert.Equal(t, []rested{{"no flow", "bean", 7 * 24 * time.Hour}, {"probe in doubt", "chilli-middle", 0}, {"tank low", "", 0}}, got)
	fails = errors.New("it is in service")
	assert.Equal(t, 503, rest(tickets()[2], "tank low", "", "back"))
}

func TestHealthSaysWhyNobodyIsTold(t *testing.T) {
	why := ""
	s := newSite(t, func(o *Options) {
		o.Ways, o.Silent = func() []Way { return nil }, func() string { return why }
	})
	assert.Contains(t, s.get("/health").Body.String(), tWaysNone)
	why = "nothing is sent with --speed"
	assert.Contains(t, s.get("/health").Body.String(), why)
	assert.NotContains(t, s.get("/health").Body.String(), tWaysNone)
}

func TestKeptShut(t *testing.T) {
	s := newSite(t, nil)
	ticket := s.ticketFor("/pot/chilli/water?amount=2&unit=L", "/pot/chilli/water")
	w := s.post("/pot/chilli/shut", "ticket", s.ticketFor("/pot/chilli", "/pot/chilli/shut"), "for", "morning")
	require.Equal(t, 303, w.Code)
	assert.Equal(t, 22*time.Hour, s.gate.shut["chilli"], "from 08:00 to 06:00 of the next day")

	until := s.gate.status.At.Add(22 * time.Hour)
	st := *s.gate.status
	st.Zones = append(st.Zones[:0:0], st.Zones...)
	for i := range st.Zones {
		if st.Zones[i].Zone == "chilli" {
			st.Zones[i].ShutUntil, st.Zones[i].State = &until, "kept shut"
		}
	}
	s.gate.status = &st
	assert.Contains(t, s.get("/").Body.String(), "Kept shut until 06:00 tomorrow")
	w = s.post("/pot/chilli/water", "ticket", ticket, "litres", "2.000")
	assert.Equal(t, 409, w.Code)
	assert.Contains(t, w.Body.String(), "This pot is kept shut until 06:00 tomorrow.")
	w = s.get("/pot/chilli/water?amount=2&unit=L")
	assert.NotContains(t, w.Body.String(), "Give 2", "no button that would be refused")
	require.Equal(t, 303, s.post("/pot/chilli/open", "ticket", s.ticketFor("/pot/chilli", "/pot/chilli/open")).Code)
	assert.Equal(t, []garden.Ask{{Kind: garden.AskRelease, Zone: "chilli", Who: "page"}}, s.gate.asked())
}

// TestBadInput: each gets a page in the same style with the way back, and the
// gateway is asked nothing.
func TestBadInput(t *testing.T) {
	s := newSite(t, nil)
	shut := func() string { return s.ticketFor("/pot/chilli", "/pot/chilli/shut") }
	note := func() string { return s.ticketFor("/pot/chilli", "/pot/chilli/note") }
	gave := func() string { return s.ticketFor("/pot/chard", "/pot/chard/gave") }
	long := strings.Repeat("x", 501)
	type bad struct {
		name string
		code int
		do   func() *httptest.ResponseRecorder
	}
	cases := []bad{
		{"no such page", 404, func() *httptest.ResponseRecorder { return s.get("/valves") }},
		{"a post to no such page", 404, func() *httptest.ResponseRecorder { return s.post("/valves") }},
		{"no such pot", 404, func() *httptest.ResponseRecorder { return s.get("/pot/tulip") }},
		{"a pot with markup for a name", 404, func() *httptest.ResponseRecorder { return s.get("/pot/%3Cscript%3Ealert(1)%3C%2Fscript%3E") }},
		{"no such span", 404, func() *httptest.ResponseRecorder { return s.get("/pot/chilli?span=century") }},
		{"wrong method", 405, func() *httptest.ResponseRecorder {
			return s.send(httptest.NewRequest("DELETE", "/pot/chilli", nil))
		}},
		{"reading a form's address", 405, func() *httptest.ResponseRecorder { return s.get("/pot/chilli/shut") }},
		{"posting to a view", 405, func() *httptest.ResponseRecorder { return s.post("/rounds") }},
		{"a form too long", 400, func() *httptest.ResponseRecorder {
			return s.post("/pot/chilli/note", "text", strings.Repeat("y", 100<<10))
		}},
		{"until yesterday", 400, func() *httptest.ResponseRecorder {
			return s.post("/pot/chilli/shut", "ticket", shut(), "for", "until", "until", "2026-07-02T08:00")
		}},
		{"until the year 9999", 400, func() *httptest.ResponseRecorder {
			return s.post("/pot/chilli/shut", "ticket", shut(), "for", "until", "until", "9999-12-31T23:59")
		}},
		{"until no date", 400, func() *httptest.ResponseRecorder {
			return s.post("/pot/chilli/shut", "ticket", shut(), "for", "until", "until", "soon")
		}},
		{"shut for no choice", 400, func() *httptest.ResponseRecorder { return s.post("/pot/chilli/shut", "ticket", shut(), "for", "ever") }},
		{"shutting a pot without a line", 409, func() *httptest.ResponseRecorder { return s.post("/pot/chard/shut", "for", "hour") }},
		{"watering a pot without a line", 409, func() *httptest.ResponseRecorder { return s.post("/pot/chard/water", "litres", "1") }},
		{"no ticket", 409, func() *httptest.ResponseRecorder { return s.post("/pot/chilli/shut", "for", "hour") }},
		{"a made-up ticket", 409, func() *httptest.ResponseRecorder {
			return s.post("/pot/chilli/shut", "for", "hour", "ticket", strings.Repeat("A", 54))
		}},
		{"a note of no kind", 400, func() *httptest.ResponseRecorder {
			return s.post("/pot/chilli/note", "ticket", note(), "kind", "poem", "text", "hello")
		}},
		{"a note too long", 400, func() *httptest.ResponseRecorder {
			return s.post("/pot/chilli/note", "ticket", note(), "kind", "seen", "text", long)
		}},
		{"an empty note", 400, func() *httptest.ResponseRecorder { return s.post("/pot/chilli/note", "ticket", note(), "kind", "seen") }},
		{"a note with no number for a value", 400, func() *httptest.ResponseRecorder {
			return s.post("/pot/chilli/note", "ticket", note(), "kind", "weight", "value", "heavy")
		}},
		{"a pot of less than nothing", 400, func() *httptest.ResponseRecorder {
			return s.post("/pot/chilli/note", "ticket", note(), "kind", "weight", "value", "-7")
		}},
		{"a pot of tons", 400, func() *httptest.ResponseRecorder {
			return s.post("/pot/chilli/note", "ticket", note(), "kind", "weight", "value", "2000.5")
		}},
		{"a harvest of less than nothing", 400, func() *httptest.ResponseRecorder {
			return s.post("/pot/chilli/note", "ticket", note(), "kind", "harvest", "value", "-2")
		}},
		{"a harvest of tons", 400, func() *httptest.ResponseRecorder {
			return s.post("/pot/chilli/note", "ticket", note(), "kind", "harvest", "value", "99999")
		}},
		{"a harvest of nobody knows what", 400, func() *httptest.ResponseRecorder {
			return s.post("/pot/chilli/note", "ticket", note(), "kind", "harvest", "text", "the first")
		}},
		{"water that ran out before any came", 400, func() *httptest.ResponseRecorder {
			return s.post("/pot/chilli/note", "ticket", note(), "kind", "drained", "value", "-4")
		}},
		{"an EC without a figure", 400, func() *httptest.ResponseRecorder {
			return s.post("/pot/chilli/note", "ticket", note(), "kind", journal.DrainageKind)
		}},
		{"by hand without an amount", 400, func() *httptest.ResponseRecorder {
			return s.post("/pot/chard/gave", "ticket", gave(), "unit", "L", "amount", "")
		}},
		{"automatic of no choice", 400, func() *httptest.ResponseRecorder { return s.post("/health/automatic", "on", "maybe") }},
		{"an alarm that is not", 404, func() *httptest.ResponseRecorder { return s.post("/health/seen", "name", "fire", "about", "roof") }},
		{"a task that is not", 404, func() *httptest.ResponseRecorder { return s.post("/rounds/done", "task", "dance") }},
	}
	for _, amount := range []string{"", "0", "-2", "-0.0001", "1e9", "NaN", "Inf", "0x10", "two", "39", "1;2", "1,2,3", "９", strings.Repeat("9", 400)} {
		cases = append(cases, bad{"amount " + brief(amount), 400, func() *httptest.ResponseRecorder {
			return s.send(newGet("/pot/chilli/water", "amount", amount, "unit", "L"))
		}}, bad{"confirmed amount " + brief(amount), 400, func() *httptest.ResponseRecorder {
			return s.post("/pot/chilli/water", "litres", amount)
		}})
	}
	cases = append(cases, bad{"amount in barrels", 400, func() *httptest.ResponseRecorder {
		return s.send(newGet("/pot/chilli/water", "amount", "1", "unit", "barrel"))
	}})
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			w := c.do()
			body := w.Body.String()
			assert.Equal(t, c.code, w.Code)
			assert.Contains(t, body, `<link rel="stylesheet" href="/assets/page.css">`, "in the same style")
			assert.Contains(t, body, `<a class="way" href="/`, "with the way back")
			assert.NotContains(t, body, "<script>alert")
			assert.True(t, s.gate.untouched(), "nothing done")
		})
	}
	assert.Empty(t, s.page.o.History.(*notebook).notes)
}

func TestNotesAndHandWater(t *testing.T) {
	s := newSite(t, nil)
	w := s.post("/pot/chilli/note", "ticket", s.ticketFor("/pot/chilli", "/pot/chilli/note"), "kind", "pour-through-ec", "value", "2,4", "text", "after the soak")
	require.Equal(t, 303, w.Code)
	notes := s.page.o.History.(*notebook).notes
	require.Len(t, notes, 1)
	assert.Equal(t, garden.Known(2.4), notes[0].Value)
	assert.Equal(t, garden.ZoneID("chilli"), notes[0].Zone)
	assert.Contains(t, s.get("/pot/chilli").Body.String(), "Pour-through EC, mS/cm: 2.4 – after the soak")

	w = s.post("/pot/chilli/note", "ticket", s.ticketFor("/pot/chilli", "/pot/chilli/note"), "kind", "pour-through-ec", "value", "1400")
	assert.Equal(t, 400, w.Code)
	assert.Contains(t, w.Body.String(), "Drainage of 1400 mS/cm, expected 0 to 20: a meter set to µS/cm")
	assert.Len(t, s.page.o.History.(*notebook).notes, 1, "not kept")

	w = s.post("/pot/chard/gave", "ticket", s.ticketFor("/rounds", "/pot/chard/gave"), "unit", "L", "amount", "3.5", "back", "rounds")
	require.Equal(t, 303, w.Code)
	assert.Equal(t, "/rounds", w.Header().Get("Location"))
	assert.Equal(t, []garden.Ask{{Kind: garden.GardenerWatered, Zone: "chard", Litres: 3.5, Who: "page"}}, s.gate.asked())
}

// What is kept as data stands in the note beside it: a pot's page shows that alone.
func TestAPotShowsEachNoteOnce(t *testing.T) {
	s := newSite(t, nil)
	n := func(kind, text string, v garden.Measured) {
		require.NoError(t, s.page.o.History.AddNote(journal.Note{Zone: "chilli", Kind: kind, Text: text, Value: v}))
	}
	n("seen", "limp: lower-height 0.333", garden.Measured{})
	for range 10 {
		n("eyes lower-height", "", garden.Known(1.0/3))
	}
	body := s.get("/pot/chilli").Body.String()
	assert.Contains(t, body, "Leaves hang – lower-height 0.333")
	assert.NotContains(t, body, "eyes ")
}

func TestControl(t *testing.T) {
	s := newSite(t, nil)
	require.Equal(t, 303, s.post("/health/automatic", "ticket", s.ticketFor("/health", "/health/automatic"), "on", "no").Code)
	assert.Equal(t, garden.AskAutoOff, s.gate.asked()[0].Kind)
	require.Equal(t, 303, s.post("/health/close").Code, "closing is always taken")
	assert.Contains(t, s.get("/health").Body.String(), "4 of 5 lines are confirmed closed. Not confirmed: bean. Shut their hand valves.")
}

func TestBeforeTheFirstRound(t *testing.T) {
	s := newSite(t, nil)
	s.gate.status = nil
	for _, path := range []string{"/", "/pot/chilli", "/rounds", "/health"} {
		w := s.get(path)
		assert.Equal(t, 503, w.Code, path)
		assert.Contains(t, w.Body.String(), "closing and checking its lines", path)
	}
	assert.Equal(t, 503, s.get("/healthz").Code)
}

func TestSilence(t *testing.T) {
	s := newSite(t, nil)
	assert.Equal(t, 200, s.get("/healthz").Code)
	s.now = s.now.Add(4 * time.Minute)
	assert.Equal(t, 503, s.get("/healthz").Code, "the loop hangs")
	assert.Contains(t, s.get("/").Body.String(), "has taken no readings for 4"+apart+"min")
	st := *s.gate.status
	s.gate.status = &st
	assert.Equal(t, 200, s.get("/healthz").Code)
}

// TestWeight: a page for twelve pots, uncompressed, with all it loads.
func TestWeight(t *testing.T) {
	s := twelve(t)
	total := 0
	for _, path := range []string{"/", "/assets/page.css", "/assets/page.js", "/assets/icon.svg"} {
		w := s.get(path)
		require.Equal(t, 200, w.Code)
		total += w.Body.Len()
	}
	t.Logf("Terrace of 12 pots: %d bytes in all", total)
	assert.Less(t, total, 150_000)
}

// twelve is a page on the synthetic garden of twelve pots.
func twelve(t testing.TB) *site {
	t.Helper()
	g, _, err := config.Load("garden12.yaml", testdata.Garden12)
	require.NoError(t, err)
	s := newSite(t, func(o *Options) { o.Garden = g })
	s.gate.status = stillStatus(g)
	return s
}

// worklist is a list of work that stands still.
type worklist []task.Listed

func (w worklist) List(time.Time) []task.Listed                  { return w }
func (worklist) Done(context.Context, string, task.Report) error { return nil }

// TestRoundsInTheListsOrder: as the command tells them, with its amounts; pots that want no
// water yet follow, and one that came to want some since goes first. What was entered since
// the list was looked through counts at once.
func TestRoundsInTheListsOrder(t *testing.T) {
	at := time.Date(2026, 7, 3, 8, 0, 0, 0, time.UTC)
	listed := func(id string, kind task.Kind, zone garden.ZoneID, litres float64) task.Listed {
		return task.Listed{Task: task.Task{ID: id, Kind: kind, Zone: zone, Title: "Title of " + id, Litres: litres, Opened: at, Due: at, Until: at.Add(time.Hour)}}
	}
	s := newSite(t, func(o *Options) {
		o.Rounds = worklist{listed("feed", task.Feed, "chilli", 2), listed("water-chard", task.Water, "chard", 4.2), listed("can", task.Water, "chilli", 3), listed("round", task.Round, "", 0)}
	})
	order := func(words ...string) {
		t.Helper()
		body, last := s.get("/rounds").Body.String(), 0
		for _, w := range words {
			i := strings.Index(body, "<h2>"+w)
			require.Greater(t, i, last, w)
			last = i
		}
		assert.Equal(t, len(words), strings.Count(body, "<h2>"), "each once")
	}
	chard, short := zoneStatus(s.gate.status, "chard"), -0.5
	holds := func(litres float64) {
		toRefill, hours := litres-chard.RefillL, max(0, 10*(litres-chard.RefillL))
		chard.HeldL, chard.ToRefillL, chard.HoursLeft = &litres, &toRefill, &hours
	}
	chard.CapacityL, chard.RefillL = 25, 21
	holds(20.8)
	water := "Water Chard by the door: about 4.2" + apart + "L</h2>"
	order("Title of feed", water, "Title of can", "Title of round")
	assert.Contains(t, s.get("/rounds").Body.String(), `value="4.2"`)
	holds(21.7) // part of it: less room than the list's steps hide
	order("Title of feed", "Water Chard by the door: about 3.3"+apart+"L</h2>", "Title of can", "Title of round")
	holds(25)
	order("Title of feed", "Title of can", "Title of round", "Chard by the door needs no water yet</h2>")
	assert.NotContains(t, s.get("/rounds").Body.String(), `value="4.2"`, "just watered")

	s.page.o.Rounds = worklist{listed("round", task.Round, "", 0)}
	order("Title of round", "Chard")
	chard.ToRefillL = &short
	order("Water Chard", "Title of round")
}

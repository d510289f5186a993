package page

import (
	"errors"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
)

// fieldsOf are the hidden fields of the form that posts to action.
func fieldsOf(t *testing.T, body, action string) (pairs []string) {
	t.Helper()
	form := regexp.MustCompile(`(?s)<form method="post" action="` + regexp.QuoteMeta(action) + `".*?</form>`).FindString(body)
	require.NotEmpty(t, form, "no form to %s", action)
	for _, m := range regexp.MustCompile(`name="([^"]*)" value="([^"]*)"`).FindAllStringSubmatch(form, -1) {
		pairs = append(pairs, m[1], m[2])
	}
	return pairs
}

func TestPlantEvents(t *testing.T) {
	day := time.Date(2026, 6, 20, 12, 0, 0, 0, stillZone(t))
	for _, c := range []struct {
		name, ask, says string
		want            garden.PlantEvent
	}{
		{"planted", "event=planted&count=3&on=2026-06-20", "reckoned as young", garden.PlantEvent{Kind: garden.Planted, Zone: "chilli", Count: 3, On: day}},
		{"pruned today", "event=pruned&share=30&on=2026-07-03", "30 % of the leaves are gone", garden.PlantEvent{Kind: garden.Pruned, Zone: "chilli", Share: 0.3}},
		{"fruit picked", "event=harvested&share=0", "No leaves went with it", garden.PlantEvent{Kind: garden.Harvested, Zone: "chilli"}},
		{"pulled", "event=pulled&on=2026-06-20", "no more water or feed until", garden.PlantEvent{Kind: garden.Pulled, Zone: "chilli", On: day}},
		{"mulched", "event=mulched&share=75", "75 % of the surface", garden.PlantEvent{Kind: garden.Mulched, Zone: "chilli", Share: 0.75}},
		// NIST SP 811: a US gallon is 3.785412 L (from memory).
		{"topped up in gallons", "event=topped-up&litres=1&unit=gal", "The probes now sit deeper", garden.PlantEvent{Kind: garden.ToppedUp, Zone: "chilli", Litres: 3.785}},
		{"all mix is new", "event=topped-up&litres=37&unit=L", "what the tap&#39;s salts came to is reckoned anew", garden.PlantEvent{Kind: garden.ToppedUp, Zone: "chilli", Litres: 37}},
		{"moved", "event=moved&exposure=windy-paved", "lose more water than in the open", garden.PlantEvent{Kind: garden.Moved, Zone: "chilli", Exposure: garden.WindyPaved}},
		{"seen", "event=seen&stage=fruiting", "count as fruiting from that day on", garden.PlantEvent{Kind: garden.SeenAt, Zone: "chilli", Stage: "fruiting"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newSite(t, nil)
			assert.Equal(t, 200, s.get("/pot/chilli/plant?"+c.ask).Code, "the form")
			w := s.get("/pot/chilli/plant?go=yes&" + c.ask)
			require.Equal(t, 200, w.Code)
			assert.Contains(t, w.Body.String(), c.says)
			require.True(t, s.gate.untouched(), "looking changes nothing")
			fields := fieldsOf(t, w.Body.String(), "/pot/chilli/plant")
			w = s.post("/pot/chilli/plant", fields...)
			require.Equal(t, 303, w.Code)
			require.Len(t, s.gate.plants, 1)
			got := s.gate.plants[0]
			assert.True(t, c.want.On.Equal(got.On), "%v", got.On)
			got.On = c.want.On
			assert.Equal(t, c.want, got)
			assert.Contains(t, s.get("/pot/chilli").Body.String(), "Entered: ")
			assert.Equal(t, 409, s.post("/pot/chilli/plant", fields...).Code, "replayed")
			assert.Len(t, s.gate.plants, 1)
		})
	}
	t.Run("pulled, but the garden file has them from that day", func(t *testing.T) {
		s := newSite(t, func(o *Options) {
			_, z, _ := o.Garden.Zone("chilli")
			z.Plants[0].PlantedOn = time.Date(2026, 6, 20, 0, 0, 0, 0, stillZone(t))
		})
		const stand, empty = "those stand and are watered as before", "counts as empty"
		for on, says := range map[string]string{"2026-06-19": stand, "2026-06-20": stand, "2026-06-21": empty, "": empty} {
			body := s.get("/pot/chilli/plant?go=yes&event=pulled&on=" + on).Body.String()
			assert.Contains(t, body, says, on)
			assert.Equal(t, says == stand, !strings.Contains(body, empty), on)
		}
	})
	t.Run("pulled, and others grow beside", func(t *testing.T) {
		s := newSite(t, func(o *Options) {
			_, z, _ := o.Garden.Zone("chilli")
			z.Plants = append(z.Plants, garden.Plant{Crop: "basil", Count: 2})
		})
		const others, empty = "reckoned for what else grows", "The pot counts as empty"
		for crop, says := range map[string]string{"basil": others, "chilli": others, "": empty} {
			body := s.get("/pot/chilli/plant?go=yes&event=pulled&crop=" + crop).Body.String()
			assert.Contains(t, body, says, crop)
			assert.Equal(t, says == empty, strings.Contains(body, empty), crop)
		}
	})
	t.Run("another event than was shown", func(t *testing.T) {
		s := newSite(t, nil)
		fields := fieldsOf(t, s.get("/pot/chilli/plant?go=yes&event=pruned&share=30").Body.String(), "/pot/chilli/plant")
		for i := range fields {
			if fields[i] == "30" {
				fields[i] = "90"
			}
		}
		assert.Equal(t, 409, s.post("/pot/chilli/plant", fields...).Code)
		assert.True(t, s.gate.untouched())
	})
	t.Run("too old", func(t *testing.T) {
		s := newSite(t, nil)
		fields := fieldsOf(t, s.get("/pot/chilli/plant?go=yes&event=pulled").Body.String(), "/pot/chilli/plant")
		s.now = s.now.Add(formLife + time.Second)
		assert.Equal(t, 409, s.post("/pot/chilli/plant", fields...).Code)
		assert.True(t, s.gate.untouched())
	})
	t.Run("the garden refuses", func(t *testing.T) {
		s := newSite(t, nil)
		fields := fieldsOf(t, s.get("/pot/chilli/plant?go=yes&event=pulled").Body.String(), "/pot/chilli/plant")
		s.gate.fail = errors.New("the gateway is stopping")
		assert.Equal(t, 503, s.post("/pot/chilli/plant", fields...).Code)
	})
}

func stillZone(t *testing.T) *time.Location { return newSite(t, nil).gate.status.At.Location() }

// TestBadPlantEvents: each gets a page with the way back, by either method, and
// nothing is entered.
func TestBadPlantEvents(t *testing.T) {
	s := newSite(t, nil)
	for _, ask := range []string{
		"event=", "event=eaten", "event=pruned", "event=pruned&share=0", "event=pruned&share=101", "event=pruned&share=-5", "event=pruned&share=NaN",
		"event=planted&count=0", "event=planted&count=501", "event=planted&count=1e3", "event=planted&count=-1",
		"event=topped-up&litres=0&unit=L", "event=topped-up&litres=1e9&unit=L", "event=topped-up&litres=2&unit=barrel", "event=topped-up",
		"event=moved", "event=moved&exposure=moon", "event=seen", "event=seen&stage=" + strings.Repeat("x", 41),
		"event=pulled&on=2026-07-04", "event=pulled&on=9999-12-31", "event=pulled&on=0001-01-01", "event=pulled&on=soon", "event=pulled&crop=tulip",
		"event=pulled&crop=" + url.QueryEscape("<script>alert(1)</script>"),
	} {
		t.Run(brief(ask), func(t *testing.T) {
			q, err := url.ParseQuery(ask)
			require.NoError(t, err)
			var pairs []string
			for k := range q {
				pairs = append(pairs, k, q.Get(k))
			}
			for _, w := range []*httptest.ResponseRecorder{s.get("/pot/chilli/plant?go=yes&" + ask), s.post("/pot/chilli/plant", pairs...)} {
				assert.Equal(t, 400, w.Code)
				assert.Contains(t, w.Body.String(), `<a class="way" href="/pot/chilli`)
				assert.Contains(t, w.Body.String(), "Nothing was done.")
				assert.NotContains(t, w.Body.String(), "<script>alert")
			}
			assert.True(t, s.gate.untouched())
		})
	}
	assert.Equal(t, 404, s.get("/pot/tulip/plant?event=pulled").Code)
}

func TestObservationIsAnswered(t *testing.T) {
	s := newSite(t, nil)
	ticket := s.ticketFor("/pot/chilli", "/pot/chilli/note")
	w := s.post("/pot/chilli/note", "ticket", ticket, "kind", "pale-lower-leaves", "text", "since <Sunday>")
	require.Equal(t, 200, w.Code)
	body := w.Body.String()
	for _, words := range []string{"the oldest, lowest leaves are evenly pale", "Likely causes, in the order to check them", "The records ", "Check: ", "Do first", "Leave alone",
		"Look again between Monday 6 July and Wednesday 8 July", "since &lt;Sunday&gt;", "Day 0 to 1: soak it", "not a diagnosis"} {
		assert.Contains(t, body, words)
	}
	assert.Equal(t, []runner.Observation{{Zone: "chilli", Sign: "pale-lower-leaves", Text: "since <Sunday>"}}, s.gate.seen)
	assert.Equal(t, 409, s.post("/pot/chilli/note", "ticket", ticket, "kind", "limp").Code, "replayed")
	w = s.post("/pot/chilli/note", "ticket", s.ticketFor("/pot/chilli", "/pot/chilli/note"), "kind", "wilted-midday")
	require.Equal(t, 200, w.Code)
	assert.Equal(t, runner.Observation{Zone: "chilli", Sign: "limp", Text: "at midday, well in the evening"}, s.gate.seen[1])
	w = s.post("/pot/chilli/note", "ticket", s.ticketFor("/pot/chilli", "/pot/chilli/note"), "kind", "all-well")
	assert.Contains(t, w.Body.String(), "Good. It is kept with the day.")
	w = s.post("/pot/chilli/note", "ticket", s.ticketFor("/pot/chilli", "/pot/chilli/note"), "kind", "limp", "value", "3")
	assert.Equal(t, 400, w.Code)
	assert.Contains(t, w.Body.String(), "A value goes with a measurement")
	assert.Len(t, s.gate.seen, 3)
	assert.Empty(t, s.page.o.History.(*notebook).notes, "the observer keeps them")
}

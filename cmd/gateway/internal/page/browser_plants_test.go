package page

import (
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/prometheus/client_golang/prometheus/testutil/promlint"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/season"
	"fabricpot/control/garden"
)

// TestBrowserPlants: what was done to the plants, what is seen on them, a
// converter that goes and the metrics, on a bench that has lived for some days.
func TestBrowserPlants(t *testing.T) {
	in := browser(t)
	r := newRig(t, 75*time.Hour, 60, nil)
	srv := httptest.NewServer(r.page)
	t.Cleanup(srv.Close)

	t.Run("pruned, with scripting off", func(t *testing.T) {
		b := open(t, in, srv, 360, 740, false)
		b.do(command(emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true}))
		b.visit("/pot/chilli")
		b.click(".doing details:nth-of-type(4) summary")
		b.click("button[value=pruned]")
		b.waitFor("h1", "Pruned", 5*time.Second)
		b.look("plant-form-phone")
		b.click("button.main")
		b.waitFor(".ask", "Enter it?", 5*time.Second)
		assert.Contains(t, b.text("dl"), "10 % of the leaves are gone")
		assert.Contains(t, b.text("dl"), "today")
		b.look("plant-sure-phone")
		stale := open(t, in, srv, 360, 740, false)
		stale.visit("/pot/chilli/plant?event=pulled&go=yes")
		r.page.tickets.key[0] ^= 1 // what a restart does to every form that lies open
		stale.click("button.main")
		stale.waitFor("h1", "This form is used up or too old", 5*time.Second)
		r.page.tickets.key[0] ^= 1
		b.click("button.main")
		b.waitFor(".said", "Entered: Pruned, 10 % of the leaves", 5*time.Second)
		var kept []garden.PlantEvent
		for end := time.Now().Add(15 * time.Second); len(kept) == 0 && time.Now().Before(end); time.Sleep(100 * time.Millisecond) {
			var err error
			kept, err = r.journal.PlantEvents(time.Time{}, r.garden.Site.Zone)
			require.NoError(t, err)
		}
		require.Len(t, kept, 1, "in the journal, as the command's")
		assert.Equal(t, garden.Pruned, kept[0].Kind)
		assert.InDelta(t, 0.1, kept[0].Share, 1e-9)
		b.clean()
	})
	t.Run("an observation is answered", func(t *testing.T) {
		b := open(t, in, srv, 360, 740, false)
		b.visit("/pot/chilli")
		b.click(".doing details:last-of-type summary")
		b.do(chromedp.SetValue(chromedp.CSS("#note-kind"), "pale-lower-leaves"), chromedp.SendKeys(chromedp.CSS("#note-text"), "since Sunday"))
		b.click(".doing details:last-of-type button")
		b.waitFor("#answer", "Likely causes, in the order to check them", 5*time.Second)
		said := b.text("#answer")
		for _, words := range []string{"You saw: the oldest, lowest leaves", "Do first", "Leave alone", "Look again between", "not a diagnosis"} {
			assert.Contains(t, said, words)
		}
		b.look("answer-phone")
		b.visit("/rounds")
		b.waitFor("main", "ook", 5*time.Second)
		b.visit("/pot/chilli")
		assert.Contains(t, b.text("#why"), "The oldest, lowest leaves are evenly pale or yellow, veins too – since Sunday")
		b.clean()
	})
	t.Run("a converter goes", func(t *testing.T) {
		b := open(t, in, srv, 360, 740, false)
		b.visit("/health")
		b.waitFor("#buses", "3 of 3 converters answer", 5*time.Second)
		r.with(func(s *season.Bench) { s.Wires.BusNamed("").Chip(0x48).SetAbsent(true) })
		b.waitFor("#buses", "no answer since", 15*time.Second)
		assert.Contains(t, b.text("#buses"), "2 of 3 converters answer")
		assert.Contains(t, b.text("#buses"), "Next step:")
		b.look("converter-gone-phone")
		wide := open(t, in, srv, 1280, 800, true)
		wide.visit("/health")
		wide.look("converter-gone-desk-dark")
		r.with(func(s *season.Bench) { s.Wires.BusNamed("").Chip(0x48).SetAbsent(false) })
		b.waitFor("#buses", "3 of 3 converters answer", 30*time.Second)
		b.clean()
	})
	t.Run("metrics", func(t *testing.T) {
		b := open(t, in, srv, 1280, 800, false)
		b.do(chromedp.Navigate(b.base + "/metrics"))
		text := ask[string](b, `document.body.innerText`)
		checkBenchMetrics(t, text, 80*time.Hour)
		problems, err := promlint.New(strings.NewReader(text + "\n")).Lint()
		require.NoError(t, err)
		assert.Empty(t, problems)
	})
}

// look checks a page for contrast, width, thumbs and names, and keeps a picture.
func (b *screen) look(name string) {
	b.t.Helper()
	assert.Empty(b.t, ask[[]string](b, dim), "contrast AA")
	assert.Empty(b.t, ask[[]string](b, small), "for a thumb")
	assert.LessOrEqual(b.t, ask[int64](b, `document.documentElement.scrollWidth - document.documentElement.clientWidth`), int64(0), "nothing sticks out")
	assert.Empty(b.t, nameless(b), "every control has a name")
	b.shoot(name)
}

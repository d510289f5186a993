package page

import (
	"net/http/httptest"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
)

const keyLeft = kb.ArrowLeft

// TestBrowserWaters: through the form, seen live by somebody else, refused while
// kept shut; on the bench at 300 times real time, in the morning.
func TestBrowserWaters(t *testing.T) {
	in := browser(t)
	r := newRig(t, 26*time.Hour, 300, nil)
	srv := httptest.NewServer(r.page)
	t.Cleanup(srv.Close)

	watcher := open(t, in, srv, 360, 740, false)
	watcher.visit("/")
	require.NotContains(t, watcher.text("main"), "Water is running")
	loaded := ask[float64](watcher, `performance.timeOrigin`)

	b := open(t, in, srv, 360, 740, false)
	b.visit("/pot/chilli")
	b.click(".taps button")
	b.waitFor("main", "Water 1", 5*time.Second)
	before := b.text("dd")
	require.Contains(t, before, "holds ")
	b.click("button.main")
	b.waitFor(".said", "Asked for 1", 5*time.Second)
	watcher.waitFor("#pots", "Water is running", 15*time.Second)
	watcher.shoot("pouring-phone")
	assert.Equal(t, loaded, ask[float64](watcher, `performance.timeOrigin`), "without being loaded again")
	b.waitFor("#why", "asked for by hand", 15*time.Second)
	b.waitFor("#why", "Last water", 20*time.Second)
	past, err := r.journal.DeliveriesSince(time.Time{})
	require.NoError(t, err)
	given := 0.0
	for _, d := range past {
		if d.Line == "chilli" && d.Kind == garden.ByHand {
			given += d.Litres
		}
	}
	assert.InDelta(t, 1, given, 0.15, "litres that flowed for 1 L asked")
	watcher.clean()
	b.clean()

	t.Run("refused while kept shut", func(t *testing.T) {
		stale := open(t, in, srv, 360, 740, false)
		stale.visit("/pot/aubergine/water?amount=1&unit=L")
		b := open(t, in, srv, 360, 740, false)
		b.visit("/pot/aubergine")
		b.click(".doing details:nth-of-type(2) summary")
		b.click("button[value=days]")
		b.waitFor(".said", "Kept shut until", 5*time.Second)
		assert.Contains(t, b.text("#pot"), "Kept shut until")
		assert.Contains(t, b.text(".doing"), "Open again")
		b.clean()
		stale.click("button.main")
		stale.waitFor("h1", "This pot is kept shut", 5*time.Second)
		assert.Contains(t, stale.text("main"), "Nothing was done.")
		st := r.desk.Status()
		l := lineStatus(st, "aubergine")
		require.NotNil(t, l)
		assert.False(t, l.Open)
		b.click(".doing details:nth-of-type(2) button.main")
		b.waitFor(".said", "Open again for watering", 5*time.Second)
		b.waitFor("#pot", "Resting", 5*time.Second)
	})
	t.Run("automatic control off and everything closed", func(t *testing.T) {
		b := open(t, in, srv, 360, 740, false)
		b.visit("/health")
		b.click("button.stop")
		b.waitFor(".said", "5 of 5 lines are confirmed closed", 5*time.Second)
		b.waitFor("#head", "Automatic control is off", 5*time.Second)
		b.waitFor("#alarms", "No alarm", time.Second)
		for end := time.Now().Add(10 * time.Second); len(r.desk.Status().Alarms) == 0 && time.Now().Before(end); {
			time.Sleep(100 * time.Millisecond)
		}
		b.visit("/health")
		b.waitFor("#alarms", "Automatic control is off", 5*time.Second)
		b.shoot("alarm-phone")
		b.click(".alarm button")
		b.waitFor(".said", "Marked as seen", 5*time.Second)
		b.waitFor("#alarms", "acknowledged", 5*time.Second)
		b.clean()
	})
	t.Run("the gateway goes away", func(t *testing.T) {
		watcher.t = t
		require.Equal(t, "", watcher.text("#old"))
		srv.CloseClientConnections()
		srv.Close()
		watcher.waitFor("#old", "Not live", 10*time.Second)
	})
}

// TestBrowserKeyboard: from the terrace to water, by the keyboard alone.
func TestBrowserKeyboard(t *testing.T) {
	in := browser(t)
	s := newSite(t, nil)
	srv := httptest.NewServer(s.page)
	t.Cleanup(srv.Close)
	b := open(t, in, srv, 1280, 800, false)
	b.visit("/")
	to := func(words string) {
		t.Helper()
		for range 60 {
			b.do(chromedp.KeyEvent(kb.Tab))
			if ask[string](b, `(document.activeElement.innerText || "").trim().replace(/\u00a0/g, " ")`) == words {
				assert.NotEqual(t, "none", ask[string](b, `getComputedStyle(document.activeElement).outlineStyle`), "one sees where one is")
				return
			}
		}
		t.Fatalf("the keyboard never came to %q", words)
	}
	b.do(chromedp.KeyEvent(kb.Tab))
	assert.Equal(t, "skip", ask[string](b, `document.activeElement.className`), "first a way past the navigation")
	to("Chilli")
	b.do(chromedp.KeyEvent(kb.Enter))
	b.waitFor("h1", "Chilli", 5*time.Second)
	to("1 L")
	b.do(chromedp.KeyEvent(kb.Enter))
	b.waitFor(".ask", "Water 1", 5*time.Second)
	to("Give 1 L now")
	b.do(chromedp.KeyEvent(kb.Enter))
	b.waitFor(".said", "Asked for 1", 5*time.Second)
	assert.Equal(t, []garden.Ask{{Kind: garden.AskWater, Zone: "chilli", Litres: 1, Who: "page"}}, s.gate.asked())
	b.clean()
}

// TestBrowserSignIn: wrong words, the wait, the right word, signing out.
func TestBrowserSignIn(t *testing.T) {
	in := browser(t)
	var later atomic.Int64
	s := newSite(t, func(o *Options) {
		o.Secrets = secrets(t)
		o.Now = func() time.Time { return time.Now().Add(time.Duration(later.Load())) }
	})
	srv := httptest.NewServer(s.page)
	t.Cleanup(srv.Close)
	b := open(t, in, srv, 360, 740, false)
	b.visit("/rounds")
	require.Equal(t, "Sign in", b.text("h1"))
	b.shoot("sign-in-phone")
	b.clean()
	try := func(word string) {
		b.do(chromedp.SendKeys(chromedp.CSS("#password"), word+kb.Enter))
	}
	for range freeTries + 1 {
		try("guess")
		b.waitFor("[role=alert]", "That is not the password", 5*time.Second)
		ask[bool](b, `document.querySelector("[role=alert]").remove() || true`)
	}
	try(ownersWord)
	b.waitFor("[role=alert]", "Too many wrong attempts", 5*time.Second)
	later.Store(int64(firstWait + time.Second))
	try(ownersWord)
	b.waitFor("h1", "Rounds", 5*time.Second)
	b.visit("/health")
	b.click(`form[action="/sign-out"] button`)
	b.waitFor("h1", "Sign in", 5*time.Second)
	b.visit("/")
	assert.Equal(t, "Sign in", b.text("h1"))
}

package page

import (
	"context"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/accessibility"
	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// dim lists the texts that are hard to read: WCAG 2.2 success criterion 1.4.3
// asks for 4.5:1, and 3:1 where the text is large; relative luminance and ratio
// as that standard defines them (from memory).
const dim = `(() => {
  const lum = (c) => { const f = c.map((v) => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; }); return 0.2126 * f[0] + 0.7152 * f[1] + 0.0722 * f[2]; };
  const parse = (s) => { const m = s.match(/[\d.]+/g).map(Number); return m.length > 3 && m[3] === 0 ? null : m.slice(0, 3); };
  const under = (e) => { for (; e; e = e.parentElement) { const c = parse(getComputedStyle(e).backgroundColor); if (c) return c; } return [255, 255, 255]; };
  const bad = []; let seen = 0;
  for (const e of document.querySelectorAll("body *")) {
    if (![...e.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim()) || !e.checkVisibility() || e.closest(".unseen")) continue;
    const s = getComputedStyle(e), a = lum(parse(s.color)), b = lum(under(e));
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05), px = parseFloat(s.fontSize);
    const need = px >= 24 || px >= 18.66 && s.fontWeight >= 700 ? 3 : 4.5;
    seen++;
    if (ratio < need) bad.push(e.textContent.trim().slice(0, 40) + " " + ratio.toFixed(2));
  }
  if (!seen) bad.push("nothing was measured");
  return bad;
})()`

// faint lists drawn things that can't be told from what is behind them: the
// same standard's 1.4.11 asks for 3:1.
const faint = `(() => {
  const root = getComputedStyle(document.documentElement), bad = [];
  const get = (n) => { const d = document.createElement("canvas").getContext("2d"); d.fillStyle = root.getPropertyValue(n).trim(); const h = d.fillStyle; return [1, 3, 5].map((i) => parseInt(h.slice(i, i + 2), 16)); };
  const lum = (c) => { const f = c.map((v) => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; }); return 0.2126 * f[0] + 0.7152 * f[1] + 0.0722 * f[2]; };
  for (const [a, b] of [["--water", "--cloth"], ["--water", "--wet"], ["--refill", "--cloth"], ["--refill", "--wet"], ["--refill", "--paper"], ["--ink", "--paper"], ["--ink", "--cloth"], ["--ink", "--wet"], ["--water", "--paper"]]) {
    const x = lum(get(a)), y = lum(get(b)), r = (Math.max(x, y) + 0.05) / (Math.min(x, y) + 0.05);
    if (!(r >= 3)) bad.push(a + " on " + b + " " + r.toFixed(2));
  }
  return bad;
})()`

// small lists what a thumb would miss.
const small = `[...document.querySelectorAll("button, input:not([type=hidden]), select, textarea, summary, nav a, .way, .zone h2 a, .cry a")]
  .filter((e) => e.checkVisibility() && e.getBoundingClientRect().height < 44).map((e) => e.outerHTML.slice(0, 80) + " " + e.getBoundingClientRect().height)`

func TestBrowserLooks(t *testing.T) {
	in := browser(t)
	r := newRig(t, 75*time.Hour+10*time.Minute, 1, nil)
	srv := httptest.NewServer(r.page)
	t.Cleanup(srv.Close)
	for _, c := range []struct {
		name  string
		width int64
		dark  bool
	}{{"phone", 360, false}, {"phone-dark", 360, true}, {"desk", 1280, false}, {"desk-dark", 1280, true}} {
		t.Run(c.name, func(t *testing.T) {
			b := open(t, in, srv, c.width, 740, c.dark)
			for _, p := range []struct{ name, path string }{
				{"terrace", "/"}, {"pot", "/pot/trough-bean?span=week"}, {"water", "/pot/strawberry-east/water?amount=4&unit=L"},
				{"rounds", "/rounds"}, {"health", "/health"}, {"report", "/season"},
			} {
				t.Run(p.name, func(t *testing.T) {
					b.t = t
					b.visit(p.path)
					ask[bool](b, `document.querySelectorAll("details").forEach((d) => { d.removeAttribute("name"); d.open = true; }) || true`)
					assert.Empty(t, ask[[]string](b, dim), "contrast AA")
					assert.Empty(t, ask[[]string](b, faint), "contrast of what is drawn")
					assert.LessOrEqual(t, ask[int64](b, `document.documentElement.scrollWidth`), c.width, "nothing sticks out")
					if c.width < 600 {
						assert.Empty(t, ask[[]string](b, small), "for a thumb")
					}
					assert.Empty(t, nameless(b), "every control has a name")
					if p.name == "report" {
						assert.Equal(t, int64(7), ask[int64](b, `[...document.images].filter((i) => i.complete && i.naturalWidth > 100).length`), "every pot's curve is drawn under the policy")
						assert.NotEqual(t, "0px", ask[string](b, `getComputedStyle(document.querySelector(".report .chart img")).borderTopWidth`), "the style is let in")
					}
					b.visit(p.path)
					b.shoot(p.name + "-" + c.name)
				})
			}
			b.t = t
			b.clean()
		})
	}
	t.Run("first paint", func(t *testing.T) {
		b := open(t, in, srv, 360, 740, false)
		b.visit("/")
		ms := -1.0
		for tries := 0; ms < 0 && tries < 50; tries++ { // it is told some time after it was painted
			time.Sleep(100 * time.Millisecond)
			ms = ask[float64](b, `(performance.getEntriesByType("paint").find((e) => e.name === "first-contentful-paint") || {startTime: -1}).startTime`)
		}
		t.Logf("first contentful paint after %.0f ms", ms)
		assert.Positive(t, ms)
		assert.Less(t, ms, 3000.0)
	})
	t.Run("scripting off", func(t *testing.T) {
		b := open(t, in, srv, 360, 740, false)
		b.do(command(emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true}))
		b.visit("/pot/trough-bean?span=week")
		page := b.text("main")
		for _, words := range []string{"Bush beans, big pot", "Needs water", "Why it did what it did last", "The same as a table"} {
			assert.True(t, strings.Contains(page, words), words)
		}
		assert.NotContains(t, page, "Not live")
		assert.Greater(t, ask[int64](b, `document.querySelector("#chart img").naturalWidth`), int64(100), "the chart is drawn")
		assert.Greater(t, ask[int64](b, `document.querySelectorAll(".past-table tbody tr").length`), int64(10))
		b.click(".taps button")
		b.waitFor("main", "Valve open", 5*time.Second)
		b.clean()
	})
	t.Run("value at a time", func(t *testing.T) {
		b := open(t, in, srv, 1280, 800, false)
		b.visit("/pot/trough-bean?span=week")
		b.do(chromedp.Focus(chromedp.CSS("#at")), chromedp.KeyEvent(keyLeft))
		first := b.text(".at output")
		assert.Contains(t, first, "water")
		assert.Contains(t, first, "%")
		b.do(chromedp.KeyEvent(keyLeft))
		assert.NotEqual(t, first, b.text(".at output"))
		b.click("#chart img")
		assert.Equal(t, "false", ask[string](b, `String(document.querySelector(".needle").hidden)`))
		b.clean()
	})
}

// nameless lists the controls that a screen reader can't name.
func nameless(b *screen) []string {
	b.t.Helper()
	tree := get(b, func(ctx context.Context, t *chromedp.Target) (accessibility.GetFullAXTreeResult, error) {
		return cdp.Call(ctx, t, accessibility.GetFullAXTree, accessibility.GetFullAXTreeParams{})
	})
	controls := " button link textbox combobox slider spinbutton img image DisclosureTriangle Date DateTime InputTime region navigation table "
	var bad []string
	seen := 0
	for _, n := range tree.Nodes {
		if n.Ignored || n.Role == nil {
			continue
		}
		role := strings.Trim(string(n.Role.Value), `"`)
		if !strings.Contains(controls, " "+role+" ") || role == "table" {
			continue
		}
		seen++
		if n.Name == nil || strings.Trim(string(n.Name.Value), `" `) == "" {
			bad = append(bad, role)
		}
	}
	require.Positive(b.t, seen)
	return bad
}

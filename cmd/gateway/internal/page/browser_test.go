package page

import (
	"context"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	cdruntime "github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// browser starts the distribution's Chromium. Where there is none the test is
// skipped, or fails where everything must be proved.
func browser(t *testing.T) context.Context {
	t.Helper()
	if testing.Short() {
		t.Skip("needs a browser and a minute")
	}
	path := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if found, err := exec.LookPath(name); err == nil {
			path = found
			break
		}
	}
	if path == "" {
		if os.Getenv("GATEWAY_CI") == "1" {
			t.Fatal("no Chromium: install the distribution's package chromium")
		}
		t.Skip("no Chromium: install the distribution's package chromium to run it")
	}
	opts := append([]chromedp.ExecAllocatorOption{}, chromedp.DefaultExecAllocatorOptions[:]...)
	opts = append(opts, chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-component-update", true),
		chromedp.Flag("disable-dev-shm-usage", true), chromedp.Flag("no-proxy-server", true), chromedp.UserDataDir(t.TempDir()))
	ctx, cancel := chromedp.NewExecAllocator(context.Background(), opts...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	require.NoError(t, chromedp.Do(ctx), "start Chromium")
	return ctx
}

// screen is one page of the browser with what it complained about and asked for.
type screen struct {
	t    *testing.T
	ctx  context.Context
	base string

	mu       sync.Mutex
	troubles []string
	asked    []string
}

// open opens a tab as wide as given on a server.
func open(t *testing.T, in context.Context, srv *httptest.Server, width, height int64, dark bool) *screen {
	t.Helper()
	ctx, cancel := chromedp.NewContext(in, chromedp.WithNewBrowserContext())
	t.Cleanup(cancel)
	b := &screen{t: t, ctx: ctx, base: srv.URL}
	require.NoError(t, chromedp.Listen(ctx, func(ev any) {
		b.mu.Lock()
		defer b.mu.Unlock()
		switch e := ev.(type) {
		case *cdruntime.EventExceptionThrown:
			b.troubles = append(b.troubles, "exception: "+e.ExceptionDetails.Text)
		case *cdruntime.EventConsoleAPICalled:
			if e.Type == cdruntime.ConsoleAPICalledTypeError || e.Type == cdruntime.ConsoleAPICalledTypeWarning {
				b.troubles = append(b.troubles, "console: "+string(e.Type))
			}
		case *log.EventEntryAdded:
			if e.Entry.Level == log.EntryLevelError || e.Entry.Level == log.EntryLevelWarning {
				b.troubles = append(b.troubles, "log: "+e.Entry.Text+" "+e.Entry.URL)
			}
		case *network.EventRequestWillBeSent:
			b.asked = append(b.asked, e.Request.URL)
		}
	}))
	scheme := "light"
	if dark {
		scheme = "dark"
	}
	view := []chromedp.EmulateViewportOption{chromedp.EmulateScale(2)}
	if width < 600 {
		view = append(view, chromedp.EmulateMobile, chromedp.EmulateTouch)
	}
	b.do(command(network.Enable, network.EnableParams{}), command(log.Enable, cdp.Empty{}),
		chromedp.EmulateViewport(width, height, view...),
		command(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
			Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}}))
	return b
}

// command makes a protocol command an action.
func command[P, R any](c cdp.Command[P, R], p P) chromedp.Action[chromedp.Void] {
	return func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		_, err := cdp.Call(ctx, t, c, p)
		return chromedp.Void{}, err
	}
}

// patience is long: a picture of a long page takes a busy machine a while.
const patience = time.Minute

// get runs an action that answers something.
func get[T any](b *screen, a chromedp.Action[T]) T {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, patience)
	defer cancel()
	v, err := chromedp.Run(ctx, a)
	require.NoError(b.t, err)
	return v
}

// ask evaluates a script in the page. One that falls into a change of pages is
// asked again.
func ask[T any](b *screen, script string) T {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, patience)
	defer cancel()
	for {
		v, err := chromedp.Run(ctx, chromedp.Evaluate[T](script))
		if err == nil || ctx.Err() != nil || !strings.Contains(err.Error(), "navigated or closed") {
			require.NoError(b.t, err)
			return v
		}
		time.Sleep(50 * time.Millisecond)
	}
}

func (b *screen) do(actions ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, patience)
	defer cancel()
	require.NoError(b.t, chromedp.Do(ctx, actions...))
}

func (b *screen) visit(path string) {
	b.t.Helper()
	b.do(chromedp.Navigate(b.base+path), chromedp.WaitReady(chromedp.CSS("main")))
}

// text is what a person reads in the first element that fits.
func (b *screen) text(selector string) string {
	b.t.Helper()
	return ask[string](b, `((e) => e && e.checkVisibility() ? e.innerText : "")(document.querySelector(`+quote(selector)+`))`)
}

// click brings an element to the middle of the screen, as a person does, and
// clicks it.
func (b *screen) click(selector string) {
	b.t.Helper()
	require.True(b.t, ask[bool](b, `((e) => { if (e) e.scrollIntoView({block: "center"}); return !!e; })(document.querySelector(`+quote(selector)+`))`), selector)
	b.do(chromedp.Click(chromedp.CSS(selector)))
}

// waitFor waits until a selector's text contains words.
func (b *screen) waitFor(selector, words string, most time.Duration) {
	b.t.Helper()
	got := ""
	// Several times that on a machine that does much else.
	for end := time.Now().Add(4 * most); time.Now().Before(end); time.Sleep(100 * time.Millisecond) {
		if got = b.text(selector); strings.Contains(got, words) {
			return
		}
	}
	b.t.Fatalf("%s never said %q; last %q", selector, words, got)
}

func quote(s string) string { return "`" + s + "`" }

// clean asserts that nothing was complained about and nobody else was asked.
func (b *screen) clean() {
	b.t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	assert.Empty(b.t, b.troubles, "the console stays empty")
	base, err := url.Parse(b.base)
	require.NoError(b.t, err)
	for _, raw := range b.asked {
		u, err := url.Parse(raw)
		require.NoError(b.t, err)
		if u.Scheme == "data" {
			continue // the browser's own picture in a date field
		}
		assert.Equal(b.t, base.Host, u.Host, "no request to another host: %s", raw)
	}
	assert.NotEmpty(b.t, b.asked)
}

// shoot writes a picture to look at into the folder that git ignores.
func (b *screen) shoot(name string) {
	b.t.Helper()
	png := get(b, chromedp.FullScreenshot(100))
	dir := filepath.Join("..", "..", "..", "..", "shots")
	require.NoError(b.t, os.MkdirAll(dir, 0o755))
	require.NoError(b.t, os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644))
}

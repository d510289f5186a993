package main

import (
	"archive/zip"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/testdata"
)

// What nobody may read anywhere.
const hostileWord, personWord, tapWord = "not for everybody 7", "a person's own 8", "what the tap says 9"

// besieged is the whole gateway with page and broker behind passwords, all lines
// closed and automatic control off.
type besieged struct {
	*running
	page, mqtt string
	owner      *http.Client // signed in
	person     *outsider
	routines   int
	secrets    []string // none of which may be read anywhere
	bundle     []string // doctor's arguments but for --out
}

func besiege(t *testing.T) *besieged {
	dir := t.TempDir()
	kept := func(name, text string) string {
		path := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
		return path
	}
	hash := filepath.Join(dir, "password")
	require.Equal(t, exitDone, execute(context.Background(), streams{in: strings.NewReader(hostileWord + "\n"), out: io.Discard, err: io.Discard},
		[]string{"password", "--file", hash}))
	accounts := fmt.Sprintf(`  accounts:
    - { login-file: %s, may-publish: [fabricpot/terrace/do], may-subscribe: ["#"] }
    - { login-file: %s, may-publish: [fabricpot/terrace/valve/tap/state], may-subscribe: [fabricpot/terrace/valve/tap/set] }
`, kept("person.login", "person\n"+personWord+"\n"), kept("tap.login", "tap\n"+tapWord+"\n"))
	garden := strings.Replace(string(testdata.Terrace), "  homie: yes", accounts+"  homie: yes", 1)
	file := kept("garden.yaml", garden)
	ctx, stop := context.WithCancel(context.Background())
	r := &running{t: t, out: &output{}, errs: &output{}, stop: stop, done: make(chan int, 1)}
	args := []string{"run", file, "--socket", filepath.Join(dir, "s"), "--journal", filepath.Join(dir, "journal.db"), "--speed", "60",
		"--listen", "127.0.0.1:0", "--password-file", hash, "--broker-listen", "127.0.0.1:0"}
	go func() {
		r.done <- execute(ctx, streams{in: strings.NewReader(""), out: r.out, err: r.errs}, args)
	}()
	t.Cleanup(func() { r.end() })
	b := &besieged{running: r, mqtt: r.broker()}
	said := regexp.MustCompile(`page: (http://\S+)/`)
	require.Eventually(t, func() bool { return said.MatchString(r.errs.String()) }, 20*time.Second, 10*time.Millisecond, "%s", r.errs)
	b.page = said.FindStringSubmatch(r.errs.String())[1]

	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	b.owner = &http.Client{Jar: jar, Timeout: 20 * time.Second}
	res, err := b.owner.PostForm(b.page+"/sign-in", url.Values{"password": {hostileWord}})
	require.NoError(t, err)
	_ = res.Body.Close()
	require.Equal(t, 200, res.StatusCode, "the owner is let in")

	b.person = outsideAs(t, b.mqtt, "person", "person", personWord)
	b.person.say("fabricpot/terrace/do", false, command("calm", `"do":"close-all"`))
	b.person.until(10*time.Second, "fabricpot/terrace/reply/calm", `"accepted":true`)
	b.person.until(20*time.Second, "fabricpot/terrace/status", `"automatic":false`, `"open_lines":0`)
	b.person.mu.Lock()
	b.person.heard = nil
	b.person.mu.Unlock()
	b.routines = runtime.NumGoroutine()
	digest, err := os.ReadFile(hash)
	require.NoError(t, err)
	b.secrets = []string{hostileWord, strings.TrimSpace(string(digest)), personWord, tapWord}
	b.bundle = []string{"doctor", file, "--socket", filepath.Join(dir, "s"), "--journal", filepath.Join(dir, "journal.db"), "--out"}
	return b
}

// outsideAs is an outsider with an account.
func outsideAs(t *testing.T, addr, id, user, word string) *outsider {
	t.Helper()
	return outsiderBy(t, addr, paho.NewClientOptions().SetClientID(id).SetUsername(user).SetPassword(word).SetAutoReconnect(false))
}

// unmoved: the loop goes round, nothing opened, the owner is served, and what the
// attack held is given back.
func (b *besieged) unmoved(t *testing.T) {
	t.Helper()
	http.DefaultClient.CloseIdleConnections()
	before := b.rounds()
	require.Eventually(t, func() bool {
		res, err := b.owner.Get(b.page + "/pot/chilli")
		if err != nil {
			return false
		}
		defer res.Body.Close()
		text, _ := io.ReadAll(res.Body)
		return res.StatusCode == 200 && strings.Contains(string(text), "Chilli")
	}, 30*time.Second, 100*time.Millisecond, "the owner is served")
	require.Eventually(t, func() bool { return b.rounds() > before+1 }, 60*time.Second, 50*time.Millisecond, "the loop goes round")
	// Without automatic control a pot still gets a small survival dose a day.
	assert.NotContains(t, b.out.String(), "by hand", "somebody was obeyed")
	assert.Eventually(t, func() bool { return runtime.NumGoroutine() <= b.routines+30 }, 30*time.Second, 100*time.Millisecond, "goroutines stay behind")
	for what, said := range map[string]string{"output": b.out.String(), "errors": b.errs.String(), "metrics": b.metrics(), "bundle": b.bundled(t)} {
		for _, secret := range b.secrets {
			assert.NotContains(t, said, secret, what)
		}
	}
	assert.NotContains(t, b.out.String()+b.errs.String(), "panic")
	assert.Contains(t, b.metrics(), "fabricpot_rounds_total")
}

// bundled is all that doctor would send to somebody else.
func (b *besieged) bundled(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "bundle.zip")
	require.Equal(t, exitDone, execute(context.Background(), streams{in: strings.NewReader(""), out: io.Discard, err: io.Discard}, append(slices.Clone(b.bundle), path)))
	z, err := zip.OpenReader(path)
	require.NoError(t, err)
	defer z.Close()
	var all strings.Builder
	for _, part := range z.File {
		r, err := part.Open()
		require.NoError(t, err)
		_, err = io.Copy(&all, r)
		require.NoError(t, err)
		require.NoError(t, r.Close())
	}
	require.Contains(t, all.String(), "login-file", "the garden file is in it")
	return all.String()
}

// rounds is how many rounds the loop has made, as the owner sees it.
func (b *besieged) rounds() (n int) {
	if _, after, ok := strings.Cut(b.metrics(), "\nfabricpot_rounds_total "); ok {
		_, _ = fmt.Sscan(after, &n)
	}
	return n
}

// metrics is what the page tells the owner's monitoring; empty if it tells nothing.
func (b *besieged) metrics() string {
	res, err := b.owner.Get(b.page + "/metrics")
	if err != nil {
		return ""
	}
	defer res.Body.Close()
	text, _ := io.ReadAll(res.Body)
	return string(text)
}

// raw sends bytes to the page as they are and returns what comes back.
func (b *besieged) raw(t *testing.T, sent string) string {
	t.Helper()
	c, err := net.Dial("tcp", strings.TrimPrefix(b.page, "http://"))
	require.NoError(t, err)
	defer c.Close()
	require.NoError(t, c.SetDeadline(time.Now().Add(20*time.Second)))
	_, _ = io.WriteString(c, sent)
	_ = c.(*net.TCPConn).CloseWrite()
	got, _ := io.ReadAll(io.LimitReader(c, 1<<20))
	return string(got)
}

// TestHostileClients is what somebody on the same network may try at page and
// broker: each is turned away, nothing opens, the garden is kept.
func TestHostileClients(t *testing.T) {
	if testing.Short() {
		t.Skip("waits for time-outs")
	}
	b := besiege(t)
	addr := strings.TrimPrefix(b.page, "http://")
	t.Run("page", func(t *testing.T) {
		t.Run("paths that climb", func(t *testing.T) {
			for _, path := range []string{
				"/../../../../etc/passwd", "/assets/../../../../etc/passwd", "/assets/..%2f..%2f..%2fetc%2fpasswd", "/%2e%2e/%2e%2e/etc/passwd",
				"//etc/passwd", "/pot/..%2f..%2fgarden.yaml", "/assets/%00", "http://" + addr + "/../password", "/pot/chilli%2f..%2f..",
			} {
				got := b.raw(t, "GET "+path+" HTTP/1.1\r\nHost: "+addr+"\r\nConnection: close\r\n\r\n")
				assert.NotContains(t, got, "root:", path)
				assert.NotContains(t, got, "$2a$", path)
				assert.Regexp(t, `^HTTP/1\.1 (30\d|4\d\d) `, got, path)
			}
		})
		t.Run("what is not HTTP", func(t *testing.T) {
			for _, sent := range []string{
				"\x00\x01\x02\x03\r\n\r\n", "GET / HTTP/9.9\r\n\r\n", "GET /\r\n\r\n", "POST /health/close HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n",
				"POST /sign-in HTTP/1.1\r\nHost: " + addr + "\r\nContent-Length: 4\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\nGET /healthz HTTP/1.1\r\nHost: x\r\n\r\n",
				"GET / HTTP/1.1\r\nHost: " + addr + "\r\nX: " + strings.Repeat("a", 64<<10) + "\r\n\r\n",
			} {
				got := b.raw(t, sent)
				assert.NotRegexp(t, `^HTTP/1\.\d 2`, got, "%.60q", sent)
			}
		})
		t.Run("more than it takes", b.tooMuch)
		t.Run("another site in the owner's browser", func(t *testing.T) {
			for _, h := range [][2]string{{"Origin", "http://elsewhere.test"}, {"Sec-Fetch-Site", "cross-site"}, {"Origin", "null"}} {
				r, err := http.NewRequest(http.MethodPost, b.page+"/health/close", strings.NewReader("ticket=x"))
				require.NoError(t, err)
				r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
				r.Header.Set(h[0], h[1])
				res, err := b.owner.Do(r)
				require.NoError(t, err)
				_ = res.Body.Close()
				assert.Equal(t, 403, res.StatusCode, h)
			}
		})
		t.Run("a form that was used", b.replayed)
		t.Run("a form of one's own making", func(t *testing.T) {
			for _, ticket := range []string{"", "x", strings.Repeat("A", 4000)} {
				res, err := b.owner.PostForm(b.page+"/pot/chilli/water", url.Values{"ticket": {ticket}, "litres": {"5"}})
				require.NoError(t, err)
				_ = res.Body.Close()
				assert.Contains(t, []int{400, 409}, res.StatusCode)
			}
		})
		t.Run("many who never finish asking", func(t *testing.T) {
			var all []net.Conn
			for range 150 {
				c, err := net.Dial("tcp", addr)
				require.NoError(t, err)
				defer c.Close()
				_, _ = io.WriteString(c, "GET / HTTP/1.1\r\nHost: x\r\nX-Slow: ")
				all = append(all, c)
			}
			begun := time.Now()
			res, err := b.owner.Get(b.page + "/healthz")
			require.NoError(t, err, "served between them")
			_ = res.Body.Close()
			for _, c := range all {
				_ = c.SetReadDeadline(begun.Add(25 * time.Second))
				_, err := io.Copy(io.Discard, c)
				assert.NotErrorIs(t, err, os.ErrDeadlineExceeded, "a slow sender keeps its place")
			}
		})
		t.Run("a flood", func(t *testing.T) {
			ctx, over := context.WithTimeout(t.Context(), 2*time.Second)
			defer over()
			var all sync.WaitGroup
			client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 64}, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
			defer client.CloseIdleConnections()
			for range 64 {
				all.Go(func() {
					for ctx.Err() == nil {
						r, _ := http.NewRequestWithContext(ctx, http.MethodGet, b.page+"/pot/chilli", nil)
						if res, err := client.Do(r); err == nil {
							_, _ = io.Copy(io.Discard, res.Body)
							_ = res.Body.Close()
						}
					}
				})
			}
			all.Wait()
		})
		t.Run("words that are guessed", func(t *testing.T) {
			codes := map[int]int{}
			for i := range 12 {
				res, err := http.PostForm(b.page+"/sign-in", url.Values{"password": {fmt.Sprint("guess ", i)}})
				require.NoError(t, err)
				_ = res.Body.Close()
				codes[res.StatusCode]++
			}
			assert.Zero(t, codes[200])
			assert.Positive(t, codes[429], "slowed: %v", codes)
		})
		b.unmoved(t)
	})
	t.Run("broker", func(t *testing.T) {
		t.Run("strangers", func(t *testing.T) {
			for _, who := range [][2]string{{"", ""}, {"person", "wrong"}, {"nobody", personWord}, {"person", ""}} {
				tok := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + b.mqtt).SetUsername(who[0]).SetPassword(who[1]).
					SetClientID("stranger").SetProtocolVersion(4).SetAutoReconnect(false)).Connect()
				require.True(t, tok.WaitTimeout(10*time.Second))
				assert.Error(t, tok.Error(), who)
			}
		})
		t.Run("an account that wants more than it may", func(t *testing.T) {
			tap := outsideAs(t, b.mqtt, "tap", "tap", tapWord)
			for _, topic := range []string{"fabricpot/terrace/do", "fabricpot/terrace/line/chilli", "fabricpot/terrace/valve/tap/set", "fabricpot/terrace/status", "$SYS/x"} {
				tap.Publish(topic, 0, false, command("tapped", `"do":"water","zone":"chilli","litres":2`))
			}
			time.Sleep(300 * time.Millisecond)
			assert.Empty(t, tap.on("fabricpot/terrace/zone/chilli"), "it may not listen to that")
			assert.Empty(t, b.person.on("fabricpot/terrace/reply/tapped"))
			assert.Empty(t, b.person.on("fabricpot/terrace/valve/tap/set"), "a node does not command itself")
		})
		t.Run("commands that were kept, spoilt or sent in masses", func(t *testing.T) {
			mad := outsideAs(t, b.mqtt, "mad", "person", personWord)
			const do = "fabricpot/terrace/do"
			// Kept for whoever comes later: who was there takes it for a fresh one, and
			// late is late.
			mad.Publish(do, 1, true, `{"id":"kept","do":"water","zone":"chilli","litres":2,"expires":"2026-01-01T00:00:00Z"}`).WaitTimeout(5 * time.Second)
			b.person.until(10*time.Second, "fabricpot/terrace/reply/kept", `"accepted":false`)
			// Nor do pains that the broker takes with it make it younger.
			for qos := range byte(3) {
				id := fmt.Sprint("late-", qos)
				mad.Publish(do, qos, false, fmt.Sprintf(`{"id":%q,"do":"water","zone":"chilli","litres":2,"expires":"2026-01-01T00:00:00Z"}`, id)).WaitTimeout(5 * time.Second)
				b.person.until(10*time.Second, "fabricpot/terrace/reply/"+id, `"accepted":false`)
			}
			// And one that comes twice is done once.
			for range 2 {
				mad.Publish(do, 2, false, command("twice", `"do":"keep-shut","zone":"chilli","minutes":1`)).WaitTimeout(5 * time.Second)
			}
			b.person.until(10*time.Second, "fabricpot/terrace/reply/twice", `"accepted":false`, "repeat")
			for _, text := range []string{"", "{", "null", "[]", `{"id":"x"}`, strings.Repeat("[", 5000), "\xff\xfe", `{"id":"big","do":"water","zone":"chilli","litres":1e308,"expires":"2999-01-01T00:00:00Z"}`} {
				mad.Publish(do, 1, false, text).WaitTimeout(5 * time.Second)
			}
			for i := range 3000 {
				mad.Publish(do, 0, false, command(fmt.Sprint("many-", i), `"do":"water","zone":"nowhere","litres":1`))
			}
			mad.Publish(do, 1, true, "").WaitTimeout(5 * time.Second)
		})
		t.Run("packets beyond all bounds", func(t *testing.T) {
			c, err := net.Dial("tcp", b.mqtt)
			require.NoError(t, err)
			defer c.Close()
			_, _ = c.Write([]byte{0x10, 0xff, 0xff, 0xff, 0x7f})
			_ = c.SetDeadline(time.Now().Add(30 * time.Second))
			_, err = io.Copy(c, endless{})
			assert.Error(t, err)
			assert.NotErrorIs(t, err, os.ErrDeadlineExceeded)
		})
		t.Run("many who never say who they are", b.nameless)
		b.unmoved(t)
	})
	assert.Equal(t, exitDone, b.end(), b.errs)
	t.Run("a broker that asks nobody who he is", valvePastThePermit)
}

// endless is a stream that never ends.
type endless struct{}

func (endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = 'a'
	}
	return len(p), nil
}

package main

import (
	"io"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// ticket is that of the form on a page that posts to action.
func (b *besieged) ticket(t *testing.T, c *http.Client, path, action string) string {
	t.Helper()
	res, err := c.Get(b.page + path)
	require.NoError(t, err)
	defer res.Body.Close()
	text, err := io.ReadAll(res.Body)
	require.NoError(t, err)
	m := regexp.MustCompile(`(?s)<form method="post" action="` + regexp.QuoteMeta(action) + `"[^>]*>\s*<input type="hidden" name="ticket" value="([^"]+)"`).FindSubmatch(text)
	require.NotNil(t, m, "no form for %s on %s", action, path)
	return string(m[1])
}

// posted is the status of a form that was sent.
func (b *besieged) posted(t *testing.T, c *http.Client, path string, fields url.Values) int {
	t.Helper()
	res, err := c.PostForm(b.page+path, fields)
	require.NoError(t, err)
	_ = res.Body.Close()
	return res.StatusCode
}

// keptShut is what the broker said last of the chilli.
func (b *besieged) keptShut(is string) func() bool {
	return func() bool {
		ms := b.person.on("fabricpot/terrace/zone/chilli")
		return len(ms) > 0 && strings.Contains(string(ms[len(ms)-1].Payload()), `"kept_shut":`+is)
	}
}

// replayed: a form that was really used once is used again, for what it was made
// for and for more, and by somebody else who is signed in.
func (b *besieged) replayed(t *testing.T) {
	const shut = "/pot/chilli/shut"
	form := url.Values{"ticket": {b.ticket(t, b.owner, "/pot/chilli", shut)}, "for": {"hour"}}
	require.Equal(t, 200, b.posted(t, b.owner, shut, form), "the first time it works")
	require.Eventually(t, b.keptShut("true"), 20*time.Second, 20*time.Millisecond, "and is obeyed")
	b.person.say("fabricpot/terrace/do", false, command("open-again", `"do":"release","zone":"chilli"`))
	b.person.until(10*time.Second, "fabricpot/terrace/reply/open-again", `"accepted":true`)
	require.Eventually(t, b.keptShut("false"), 20*time.Second, 20*time.Millisecond)
	for range 3 {
		assert.Equal(t, 409, b.posted(t, b.owner, shut, form), "the second time it does not")
	}
	form.Set("litres", "2.000")
	for _, path := range []string{"/pot/chilli/water", "/pot/chilli/open", "/pot/aubergine/shut"} {
		assert.Equal(t, 409, b.posted(t, b.owner, path, form), path)
	}
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	guest := &http.Client{Jar: jar, Timeout: 20 * time.Second}
	require.Equal(t, 200, b.posted(t, guest, "/sign-in", url.Values{"password": {hostileWord}}))
	defer guest.CloseIdleConnections()
	fresh := url.Values{"ticket": {b.ticket(t, b.owner, "/pot/chilli", shut)}, "for": {"hour"}}
	assert.Equal(t, 409, b.posted(t, guest, shut, fresh), "a form of another's page")
	begun := b.rounds()
	require.Eventually(t, func() bool { return b.rounds() > begun+1 }, 60*time.Second, 50*time.Millisecond, "the loop goes round")
	assert.True(t, b.keptShut("false")(), "none of it was obeyed")
}

// tooMuch sends far more than a form may hold. The page stops listening: what was
// written is what it took and what the sockets hold, which is 6 MB on the side that
// does not read (Linux, tcp_rmem, from memory). The library alone would take 10 MB
// of a form before it says no (net/http, ParseForm).
func (b *besieged) tooMuch(t *testing.T) {
	const much, fits = 64 << 20, 8 << 20
	for name, head := range map[string]string{"length": "Content-Length: 67108864\r\n\r\n", "chunks": "Transfer-Encoding: chunked\r\n\r\n4000000\r\n"} {
		c, err := net.Dial("tcp", strings.TrimPrefix(b.page, "http://"))
		require.NoError(t, err)
		require.NoError(t, c.SetDeadline(time.Now().Add(30*time.Second)))
		require.NoError(t, c.(*net.TCPConn).SetWriteBuffer(64<<10))
		_, err = io.WriteString(c, "POST /sign-in HTTP/1.1\r\nHost: "+c.RemoteAddr().String()+"\r\nContent-Type: application/x-www-form-urlencoded\r\n"+head)
		require.NoError(t, err)
		answer := make(chan string, 1)
		go func() {
			got, _ := io.ReadAll(io.LimitReader(c, 1<<20))
			answer <- string(got)
		}()
		n, err := io.Copy(c, io.LimitReader(endless{}, much))
		assert.Error(t, err, "%s: it took all of it", name)
		assert.NotErrorIs(t, err, os.ErrDeadlineExceeded, "%s: it neither takes it nor turns it away", name)
		assert.Less(t, n, int64(fits), "%s: bytes taken", name)
		// The answer may be lost where the connection is reset.
		if got := <-answer; got != "" {
			assert.Regexp(t, `^HTTP/1\.1 4\d\d `, got, name)
			assert.NotContains(t, got, "Set-Cookie", name)
		}
		_ = c.Close()
	}
}

// nameless opens connections to the broker and never says who they are: each loses
// its place, and who has a name finds one.
func (b *besieged) nameless(t *testing.T) {
	var all []net.Conn
	for range 200 {
		c, err := net.Dial("tcp", b.mqtt)
		if err != nil {
			continue // turned away before it said a word
		}
		defer c.Close()
		_, _ = c.Write([]byte{0x10, 0x20, 0x00})
		all = append(all, c)
	}
	require.Greater(t, len(all), 100, "there was a crowd")
	end := time.Now().Add(25 * time.Second) // five are allowed, on a quiet machine
	for _, c := range all {
		_ = c.SetReadDeadline(end)
		_, err := io.Copy(io.Discard, c)
		require.NotErrorIs(t, err, os.ErrDeadlineExceeded, "who never says who it is keeps its place")
	}
	assert.True(t, b.person.IsConnectionOpen(), "who is in stays in")
	outsideAs(t, b.mqtt, "late", "person", personWord).Disconnect(20)
}

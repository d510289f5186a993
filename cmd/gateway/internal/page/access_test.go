package page

import (
	"context"
	"crypto/tls"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/crypto/bcrypt"

	"fabricpot/cmd/gateway/internal/runner"
)

const ownersWord, guestsWord = "terracotta 9", "just looking"

// secrets are cheap to check, so that tests are quick.
func secrets(t testing.TB) Secrets {
	t.Helper()
	path := filepath.Join(t.TempDir(), "password")
	require.NoError(t, savePassword(path, ForOwner, ownersWord, bcrypt.MinCost))
	require.NoError(t, savePassword(path, ForGuest, guestsWord, bcrypt.MinCost))
	s, err := LoadSecrets(path)
	require.NoError(t, err)
	return s
}

// locked is a site with a password, reached over the network.
func locked(t testing.TB) *site {
	s := newSite(t, func(o *Options) { o.Secrets = secrets(t) })
	s.host, s.remote = "192.0.2.7:8077", "192.0.2.50:40000"
	return s
}

func TestSignIn(t *testing.T) {
	s := locked(t)
	for _, path := range []string{"/", "/pot/chilli", "/rounds", "/health"} {
		w := s.get(path)
		require.Equal(t, 303, w.Code, path)
		require.True(t, strings.HasPrefix(w.Header().Get("Location"), "/sign-in"), path)
		assert.NotContains(t, w.Body.String(), "Aubergine")
	}
	for _, path := range []string{"/live", "/pot/chilli/chart.svg", "/metrics"} {
		assert.Equal(t, 401, s.get(path).Code, path)
	}
	assert.Equal(t, 401, s.post("/health/close").Code)
	assert.Equal(t, 401, s.post("/sign-in", "password", "wrong").Code)
	assert.True(t, s.gate.untouched())
	assert.Equal(t, 200, s.get("/healthz").Code)

	r := httptest.NewRequest("POST", "/sign-in", strings.NewReader("next=%2Frounds&password="+strings.ReplaceAll(ownersWord, " ", "+")))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	w := s.send(r)
	require.Equal(t, 303, w.Code)
	assert.Equal(t, "/rounds", w.Header().Get("Location"))
	c := w.Result().Cookies()[0]
	assert.True(t, c.HttpOnly)
	assert.Equal(t, http.SameSiteLaxMode, c.SameSite)
	assert.False(t, c.Secure, "there is no TLS here")
	assert.Equal(t, 200, s.get("/").Code)
	assert.Contains(t, s.get("/health").Body.String(), "You are signed in as owner.")

	ticket := s.ticketFor("/pot/chilli", "/pot/chilli/shut")
	key := s.cookies["fabricpot"]
	t.Run("another session's form", func(t *testing.T) {
		require.Equal(t, 303, s.post("/sign-in", "password", ownersWord).Code)
		require.NotEqual(t, key, s.cookies["fabricpot"])
		assert.Equal(t, 409, s.post("/pot/chilli/shut", "ticket", ticket, "for", "hour").Code)
	})
	t.Run("signed out", func(t *testing.T) {
		gone := s.cookies["fabricpot"]
		require.Equal(t, 303, s.post("/sign-out").Code)
		s.cookies["fabricpot"] = gone
		assert.Equal(t, 303, s.get("/").Code, "the key is worth nothing any more")
	})
	t.Run("after a month", func(t *testing.T) {
		s.cookies["fabricpot"] = key
		require.Equal(t, 200, s.get("/").Code)
		s.now = s.now.Add(sessionLife)
		assert.Equal(t, 303, s.get("/").Code)
	})
}

func TestGuestReadsOnly(t *testing.T) {
	s := locked(t)
	s.gate.status.Alarms = []runner.AlarmLine{{Name: "tank low", State: "raised", Since: s.gate.status.At, Active: true}}
	s.page.o.Acknowledge = func(context.Context, string, string, string) error { panic("by a guest") }
	s.page.o.Rest = func(context.Context, string, string, time.Duration, string) error { panic("by a guest") }
	require.Equal(t, 303, s.post("/sign-in", "password", guestsWord).Code)
	for _, path := range []string{"/", "/pot/chilli", "/rounds", "/health", "/pot/chilli/water?amount=2&unit=L"} {
		w := s.get(path)
		require.Equal(t, 200, w.Code, path)
		for _, form := range []string{"/water\"", "/shut\"", "/note\"", "/gave\"", "/health/close\"", "/health/automatic\"", "/health/seen\"", "/health/rest\""} {
			assert.NotContains(t, w.Body.String(), `method="post" action="/pot/chilli`+form, path)
			assert.NotContains(t, w.Body.String(), `action="`+form, path)
		}
	}
	for _, path := range []string{"/health/close", "/health/automatic", "/health/seen", "/health/rest", "/pot/chilli/shut", "/pot/chilli/water", "/pot/chilli/note", "/rounds/done"} {
		assert.Equal(t, 403, s.post(path).Code, path)
	}
	assert.True(t, s.gate.untouched())
	assert.Equal(t, 303, s.post("/settings", "volume", "gal", "degrees", "C", "tone", "auto").Code, "how they read is theirs")
}

func TestLockOut(t *testing.T) {
	s := locked(t)
	for range freeTries {
		require.Equal(t, 401, s.post("/sign-in", "password", "guess").Code)
	}
	require.Equal(t, 401, s.post("/sign-in", "password", "guess").Code, "the one that starts the wait")
	w := s.post("/sign-in", "password", ownersWord)
	require.Equal(t, 429, w.Code, "even the right one has to wait")
	assert.Equal(t, "11", w.Header().Get("Retry-After"))
	assert.Contains(t, w.Body.String(), "Try again in 10"+apart+"s.")

	other := s.remote
	s.remote = "192.0.2.51:40000"
	assert.Equal(t, 303, s.post("/sign-in", "password", ownersWord).Code, "others are not kept out")
	s.remote = other

	s.now = s.now.Add(firstWait - time.Second)
	assert.Equal(t, 429, s.post("/sign-in", "password", ownersWord).Code)
	s.now = s.now.Add(time.Second)
	assert.Equal(t, 401, s.post("/sign-in", "password", "guess").Code)
	s.now = s.now.Add(2*firstWait - time.Second)
	assert.Equal(t, 429, s.post("/sign-in", "password", ownersWord).Code, "the wait doubles")
	s.now = s.now.Add(time.Second)
	assert.Equal(t, 303, s.post("/sign-in", "password", ownersWord).Code)
}

func TestThrottleIsBounded(t *testing.T) {
	now := time.Unix(1e9, 0)
	th := newThrottle(func() time.Time { return now })
	for i := range 3 * maxClients {
		now = now.Add(time.Millisecond)
		th.failed(fmt.Sprint(i))
	}
	assert.LessOrEqual(t, len(th.clients), maxClients)
	for range 100 {
		th.failed("x")
	}
	assert.Equal(t, longWait, th.wait("x"), "and so is the wait")
	now = now.Add(forgetAfter + time.Hour)
	th.failed("x")
	assert.Zero(t, th.wait("x"), "a day later it is a first time again")
	// One network of IPv6 is one client, however many addresses it tries.
	a, b := httptest.NewRequest("GET", "/", nil), httptest.NewRequest("GET", "/", nil)
	a.RemoteAddr, b.RemoteAddr = "[2001:db8::1]:1", "[2001:db8::2]:2"
	assert.Equal(t, clientOf(a), clientOf(b))
}

func TestSessionsAndTicketsAreBounded(t *testing.T) {
	now := time.Unix(1e9, 0)
	clock := func() time.Time { return now }
	ss := newSessions(clock)
	for range 2 * maxSessions {
		ss.begin(owner)
	}
	assert.LessOrEqual(t, len(ss.open), maxSessions)
	ts := newTickets(clock)
	for range maxSpent {
		require.NoError(t, ts.spend(ts.issue("s", "p"), "s", "p"))
	}
	assert.ErrorIs(t, ts.spend(ts.issue("s", "p"), "s", "p"), errMany)
	now = now.Add(formLife + 2*time.Second)
	assert.NoError(t, ts.spend(ts.issue("s", "p"), "s", "p"), "old ones are forgotten")
	assert.ErrorIs(t, ts.spend(ts.issue("ab", "c"), "a", "bc"), errTicket, "session and purpose stay apart")
}

func TestCrossSite(t *testing.T) {
	s := newSite(t, nil)
	ticket := s.ticketFor("/pot/chilli", "/pot/chilli/shut")
	for name, header := range map[string][2]string{
		"by the browser's word": {"Sec-Fetch-Site", "cross-site"}, "by its origin": {"Origin", "https://elsewhere.example"},
	} {
		t.Run(name, func(t *testing.T) {
			r := httptest.NewRequest("POST", "/pot/chilli/shut", strings.NewReader("for=hour&ticket="+ticket))
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			r.Header.Set(header[0], header[1])
			w := s.send(r)
			assert.Equal(t, 403, w.Code)
			assert.Contains(t, w.Body.String(), "This came from another site")
			assert.True(t, s.gate.untouched())
		})
	}
	t.Run("a foreign name that points here", func(t *testing.T) {
		s.host = "rebound.example:8077"
		w := s.get("/")
		assert.Equal(t, 421, w.Code)
		assert.NotContains(t, w.Body.String(), "Aubergine")
		for _, host := range []string{"localhost", "127.0.0.1:8077", "[::1]:8077", "LOCALHOST:1"} {
			s.host = host
			assert.Equal(t, 200, s.get("/").Code, host)
		}
	})
}

func TestHeaders(t *testing.T) {
	s := newSite(t, nil)
	for _, path := range []string{"/", "/pot/chilli", "/nope", "/assets/page.js", "/healthz"} {
		h := s.get(path).Header()
		csp := h.Get("Content-Security-Policy")
		assert.Contains(t, csp, "default-src 'none'", path)
		assert.NotContains(t, csp, "unsafe", path)
		assert.Equal(t, "nosniff", h.Get("X-Content-Type-Options"), path)
		assert.Contains(t, csp, "frame-ancestors 'none'", path)
	}
	body := s.get("/pot/chilli").Body.String()
	for _, no := range []string{" style=", "<style", "onclick", "javascript:", "http://", "https://"} {
		assert.NotContains(t, body, no)
	}
	assert.Equal(t, "no-store", s.get("/").Header().Get("Cache-Control"))
}

func TestOwnPath(t *testing.T) {
	for next, want := range map[string]string{
		"/rounds": "/rounds", "": "/", "//elsewhere.example": "/", "https://elsewhere.example/": "/", `/\elsewhere.example`: "/",
		"rounds": "/", "/pot/chilli?span=week": "/pot/chilli?span=week", "/\r\nX: y": "/",
	} {
		assert.Equal(t, want, ownPath(next), "%q", next)
	}
}

func TestPasswordFile(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "password")
	require.ErrorContains(t, savePassword(path, ForOwner, "short", bcrypt.MinCost), "at least 8 letters")
	require.ErrorContains(t, savePassword(path, ForOwner, strings.Repeat("é", 40), bcrypt.MinCost), "at most 72 bytes")
	require.ErrorContains(t, savePassword(path, "cat", "long enough", bcrypt.MinCost), `for "cat"`)
	require.NoError(t, savePassword(path, ForGuest, guestsWord, bcrypt.MinCost))
	_, err := LoadSecrets(path)
	require.ErrorContains(t, err, "no owner's password")
	require.NoError(t, savePassword(path, ForOwner, ownersWord, bcrypt.MinCost))
	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	src, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.NotContains(t, string(src), ownersWord)
	s, err := LoadSecrets(path)
	require.NoError(t, err)
	for word, want := range map[string]role{ownersWord: owner, guestsWord: guest, "other": nobody, "": nobody, strings.Repeat("a", 100): nobody} {
		got, err := s.check(context.Background(), word)
		require.NoError(t, err)
		assert.Equal(t, want, got, word)
	}
	require.NoError(t, savePassword(path, ForGuest, "", bcrypt.MinCost), "takes the guest's access away")
	s, err = LoadSecrets(path)
	require.NoError(t, err)
	who, _ := s.check(context.Background(), guestsWord)
	assert.Equal(t, nobody, who)

	require.NoError(t, os.Chmod(path, 0o640))
	_, err = LoadSecrets(path)
	require.ErrorContains(t, err, "chmod 600")
	plain := filepath.Join(dir, "plain")
	require.NoError(t, os.WriteFile(plain, []byte("owner "+ownersWord+"\n"), 0o600))
	_, err = LoadSecrets(plain)
	require.ErrorContains(t, err, "plain:1: expected owner or guest and a hash")
	assert.NotContains(t, err.Error(), ownersWord, "a password by mistake is not shown")
}

func TestDoor(t *testing.T) {
	for _, c := range []struct {
		door Door
		want string
	}{
		{Door{Addr: DefaultListen}, ""}, {Door{Addr: "[::1]:0"}, ""}, {Door{Addr: "localhost:1"}, ""},
		{Door{Addr: ":8077"}, "there is no password"}, {Door{Addr: "0.0.0.0:8077"}, "there is no password"},
		{Door{Addr: "192.0.2.7:8077"}, "there is no password"}, {Door{Addr: ":8077", Secrets: secrets(t)}, ""},
		{Door{Addr: "8077"}, "expected an address"}, {Door{Addr: DefaultListen, CertFile: "x"}, "belong together"},
	} {
		err := c.door.Check()
		if c.want == "" {
			assert.NoError(t, err, c.door.Addr)
		} else {
			assert.ErrorContains(t, err, c.want)
			_, err = c.door.Listen()
			assert.Error(t, err, "and it is not opened")
		}
	}
}

// TestWhereThePageIs: where it listens on every address, what a phone can use is said,
// as the system's list has it, and never "every address" itself.
func TestWhereThePageIs(t *testing.T) {
	all := Door{Addr: ":1"}.url(&net.TCPAddr{IP: net.IPv6unspecified, Port: 18090})
	assert.NotContains(t, all, "[::]")
	assert.Contains(t, all, "http://localhost:18090/ on this machine")
	own, err := net.InterfaceAddrs()
	require.NoError(t, err)
	for _, a := range own {
		ip := a.(*net.IPNet).IP
		if said := "http://" + net.JoinHostPort(ip.String(), "18090") + "/"; ip.IsLoopback() || ip.IsLinkLocalUnicast() {
			assert.NotContains(t, all, said)
		} else {
			assert.Contains(t, all, said)
		}
	}
	assert.Equal(t, "https://127.0.0.1:8077/", Door{CertFile: "c"}.url(&net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: 8077}))
}

// TestServe: over a real connection, with a slow peer, and until the end.
func TestServe(t *testing.T) {
	s := newSite(t, nil)
	ctx, cancel := context.WithCancel(context.Background())
	said, ended := make(chan string, 4), make(chan struct{})
	go func() {
		defer close(ended)
		s.page.Keep(ctx, Door{Addr: "127.0.0.1:0"}, func(line string) { said <- line })
	}()
	at := strings.TrimPrefix(<-said, "page: ")
	res, err := http.Get(at)
	require.NoError(t, err)
	body, err := io.ReadAll(res.Body)
	require.NoError(t, err)
	res.Body.Close()
	assert.Contains(t, string(body), "Aubergine")

	live, err := http.Get(at + "live")
	require.NoError(t, err)
	defer live.Body.Close()
	assert.Equal(t, "text/event-stream", live.Header.Get("Content-Type"))
	st := *s.gate.Status()
	st.Ticks++
	s.gate.mu.Lock()
	s.gate.status = &st
	s.gate.mu.Unlock()
	buf := make([]byte, 400)
	got := ""
	for !strings.Contains(got, "event: round\ndata: 78\n\n") {
		n, err := live.Body.Read(buf)
		require.NoError(t, err)
		got += string(buf[:n])
	}
	cancel()
	select {
	case <-ended:
	case <-time.After(20 * time.Second):
		t.Fatal("the page does not end while somebody watches")
	}
}

func TestBoundedListener(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	b := &bounded{Listener: l, room: make(chan struct{}, 1)}
	defer b.Close()
	dial := func() { _, _ = net.Dial("tcp", l.Addr().String()) }
	go dial()
	first, err := b.Accept()
	require.NoError(t, err)
	go dial()
	second := make(chan net.Conn)
	go func() {
		c, _ := b.Accept()
		second <- c
	}()
	select {
	case <-second:
		t.Fatal("two at once where there is room for one")
	case <-time.After(50 * time.Millisecond):
	}
	require.NoError(t, first.Close())
	_ = first.Close() // twice gives back one place, not two
	require.NotNil(t, <-second)
	assert.Len(t, b.room, 1)
}

func TestSecureCookieUnderTLS(t *testing.T) {
	s := locked(t)
	r := httptest.NewRequest("POST", "/sign-in", strings.NewReader("password="+strings.ReplaceAll(guestsWord, " ", "+")))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.TLS = &tls.ConnectionState{}
	c := s.send(r).Result().Cookies()
	require.NotEmpty(t, c)
	assert.Equal(t, "__Host-fabricpot", c[0].Name)
	assert.True(t, c[0].Secure)
}

func TestStreamsAreBounded(t *testing.T) {
	s := newSite(t, nil)
	for range maxStreams {
		s.page.streams <- struct{}{}
	}
	assert.Equal(t, 503, s.get("/live").Code)
}

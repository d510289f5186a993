package notify

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// sample is a message about two alarms.
func sample(t *testing.T) *Message {
	b := NewBook(site, settings())
	m, ok := b.Decide(moment(0), []runner.AlarmLine{stands("flow with all lines closed", "", 0), stands("no flow", "one", 0)})
	require.True(t, ok)
	return &m
}

func TestMessageInWords(t *testing.T) {
	m := sample(t)
	assert.Equal(t, "Roof: flow with all lines closed, and 1 more", m.Title)
	assert.Equal(t, `Flow with all lines closed
  wrong
  Next: look.
  Since Wednesday 1 July 12:00.

No flow (one)
  wrong
  Next: look.
  Since Wednesday 1 July 12:00.

It is told again until somebody marks it as seen: on the page, through a hub, or with 'gateway alarms seen'.
`, m.Text)
	assert.True(t, m.Serious)
	assert.Equal(t, 2, m.Standing)
}

func TestWebhook(t *testing.T) {
	type got struct {
		body   string
		header http.Header
	}
	var last got
	status := http.StatusOK
	answer := func(w http.ResponseWriter, r *http.Request) {
		b, _ := io.ReadAll(r.Body)
		last = got{string(b), r.Header}
		if status == http.StatusFound {
			http.Redirect(w, r, "http://127.0.0.1:1/elsewhere", status)
			return
		}
		w.WriteHeader(status)
	}
	srv := httptest.NewServer(http.HandlerFunc(answer))
	defer srv.Close()
	m := sample(t)
	send := func(set garden.Webhook) error {
		w, err := newWebhook(set)
		require.NoError(t, err)
		ctx, cancel := context.WithTimeout(context.Background(), 60*time.Second)
		defer cancel()
		return w.Send(ctx, m)
	}
	token := secret(t, "Bearer abc123\n")
	require.NoError(t, send(garden.Webhook{URL: srv.URL + "/hook?key=k3y", Headers: []garden.WebHeader{{Name: "Authorization", SecretFile: token}, {Name: "X-Garden", Value: "roof"}}}))
	assert.Equal(t, "Bearer abc123", last.header.Get("Authorization"))
	assert.Equal(t, "roof", last.header.Get("X-Garden"))
	assert.Equal(t, "application/json", last.header.Get("Content-Type"))
	var back Message
	dec := json.NewDecoder(strings.NewReader(last.body))
	dec.DisallowUnknownFields()
	require.NoError(t, dec.Decode(&back))
	assert.Equal(t, *m, back, "all of it, as documented")

	body := filepath.Join(t.TempDir(), "body")
	require.NoError(t, os.WriteFile(body, []byte(`{"text": {{json .Title}}{{range .Alarms}}, {{json .Name}}: {{json .Next}}{{end}}}`), 0o600))
	require.NoError(t, send(garden.Webhook{URL: srv.URL, BodyFile: body, ContentType: "text/plain"}))
	assert.Equal(t, `{"text": "Roof: flow with all lines closed, and 1 more", "flow with all lines closed": "look", "no flow": "look"}`, last.body)
	assert.Equal(t, "text/plain", last.header.Get("Content-Type"))

	for _, c := range []struct {
		status  int
		forGood bool
	}{{500, false}, {503, false}, {429, false}, {408, false}, {404, true}, {401, true}, {302, true}} {
		status = c.status
		err := send(garden.Webhook{URL: srv.URL + "/secret-path"})
		require.Error(t, err, "%d", c.status)
		assert.Equal(t, c.forGood, errors.Is(err, errForGood), "%d", c.status)
		assert.NotContains(t, err.Error(), "secret-path", "an address may be a secret")
	}
	status = 200
	loose := secret(t, "x")
	require.NoError(t, os.Chmod(loose, 0o644))
	err := send(garden.Webhook{URL: srv.URL, Headers: []garden.WebHeader{{Name: "A", SecretFile: loose}}})
	require.ErrorContains(t, err, "others may read it; run: chmod 600")
	for _, bad := range []string{"", "a\nb", "a\x00b"} {
		require.Error(t, send(garden.Webhook{URL: srv.URL, Headers: []garden.WebHeader{{Name: "A", SecretFile: secret(t, bad)}}}), "%q", bad)
	}

	t.Run("TLS", func(t *testing.T) {
		c, ca := authority(t)
		srv := httptest.NewUnstartedServer(http.HandlerFunc(answer))
		srv.TLS = c
		srv.StartTLS()
		defer srv.Close()
		require.NoError(t, send(garden.Webhook{URL: srv.URL, CAFile: ca}))
		require.ErrorContains(t, send(garden.Webhook{URL: srv.URL}), "certificate", "nobody vouches for it")
	})
	t.Run("nobody there", func(t *testing.T) {
		srv.Close()
		err := send(garden.Webhook{URL: srv.URL + "/secret-path"})
		require.ErrorContains(t, err, "refused")
		assert.NotContains(t, err.Error(), "secret-path")
		assert.False(t, errors.Is(err, errForGood))
	})
	t.Run("slow", func(t *testing.T) {
		over := make(chan struct{})
		srv := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { <-over }))
		defer srv.Close()
		defer close(over)
		w, err := newWebhook(garden.Webhook{URL: srv.URL})
		require.NoError(t, err)
		ctx, cancel := context.WithTimeout(context.Background(), 100*time.Millisecond)
		defer cancel()
		require.ErrorIs(t, w.Send(ctx, m), context.DeadlineExceeded)
	})
}

func TestBodyTemplateSlips(t *testing.T) {
	for name, text := range map[string]string{
		"no such field": "{{.Titel}}", "not closed": "{{.Title", "no such function": "{{shell .Title}}",
		"too long": `{{range $i, $a := .Alarms}}{{printf "%70000s" "x"}}{{end}}`,
	} {
		t.Run(name, func(t *testing.T) {
			body := filepath.Join(t.TempDir(), "body")
			require.NoError(t, os.WriteFile(body, []byte(text), 0o600))
			_, err := newWebhook(garden.Webhook{URL: "http://127.0.0.1:1", BodyFile: body})
			require.ErrorContains(t, err, "webhook 127.0.0.1:1: body:")
		})
	}
}

func TestMail(t *testing.T) {
	c, ca := authority(t)
	m := sample(t)
	send := func(set garden.Mail) error {
		set.From, set.To = "pots@garden.test", []string{"me@garden.test", "you@garden.test"}
		box, err := newMailbox(set)
		require.NoError(t, err)
		ctx, cancel := context.WithTimeout(context.Background(), 60*time.Second)
		defer cancel()
		return box.Send(ctx, m)
	}
	login := secret(t, "pots\nrain water\n")
	t.Run("STARTTLS with a password", func(t *testing.T) {
		p := (&postman{tls: c, startTLS: true, user: "pots", password: "rain water"}).open(t)
		require.NoError(t, send(garden.Mail{Server: p.addr, Security: garden.MailStartTLS, PasswordFile: login, CAFile: ca}))
		got := p.got()
		require.Len(t, got, 1)
		assert.True(t, p.hidden)
		assert.Contains(t, got[0].from, "<pots@garden.test>")
		assert.Len(t, got[0].to, 2)
		for _, want := range []string{"Subject: Roof: flow with all lines closed, and 1 more", "Auto-Submitted: auto-generated", "Importance: high", "No flow (one)", "Next: look."} {
			assert.Contains(t, got[0].text, want)
		}
	})
	t.Run("TLS from the first byte", func(t *testing.T) {
		p := (&postman{tls: c, from: true, user: "pots", password: "rain water"}).open(t)
		require.NoError(t, send(garden.Mail{Server: p.addr, Security: garden.MailTLS, PasswordFile: login, CAFile: ca}))
		assert.Len(t, p.got(), 1)
		assert.True(t, p.hidden)
	})
	t.Run("in the clear, on this machine", func(t *testing.T) {
		p := (&postman{user: "pots", password: "rain water"}).open(t)
		require.NoError(t, send(garden.Mail{Server: p.addr, Security: garden.MailPlain, PasswordFile: login}))
		assert.Len(t, p.got(), 1)
	})
	t.Run("no STARTTLS where it was asked for", func(t *testing.T) {
		p := (&postman{user: "pots", password: "rain water"}).open(t)
		err := send(garden.Mail{Server: p.addr, Security: garden.MailStartTLS, PasswordFile: login, CAFile: ca})
		require.Error(t, err)
		assert.Empty(t, p.got(), "nothing goes in the clear")
		assert.NotContains(t, err.Error(), "rain water")
	})
	t.Run("a server nobody vouches for", func(t *testing.T) {
		p := (&postman{tls: c, startTLS: true}).open(t)
		require.ErrorContains(t, send(garden.Mail{Server: p.addr, Security: garden.MailStartTLS}), "certificate")
		assert.Empty(t, p.got())
	})
	t.Run("a wrong password", func(t *testing.T) {
		p := (&postman{tls: c, startTLS: true, user: "pots", password: "another"}).open(t)
		err := send(garden.Mail{Server: p.addr, Security: garden.MailStartTLS, PasswordFile: login, CAFile: ca})
		require.Error(t, err)
		assert.NotContains(t, err.Error(), "rain water")
	})
	t.Run("refused for good", func(t *testing.T) {
		p := (&postman{answer: "550 no such box"}).open(t)
		require.ErrorIs(t, send(garden.Mail{Server: p.addr, Security: garden.MailPlain}), errForGood)
	})
	t.Run("refused for now", func(t *testing.T) {
		p := (&postman{answer: "451 come back later"}).open(t)
		err := send(garden.Mail{Server: p.addr, Security: garden.MailPlain})
		require.Error(t, err)
		assert.False(t, errors.Is(err, errForGood))
	})
	t.Run("a server that says nothing", func(t *testing.T) {
		p := (&postman{deaf: true}).open(t)
		box, err := newMailbox(garden.Mail{Server: p.addr, Security: garden.MailPlain, From: "a@b.test", To: []string{"c@d.test"}})
		require.NoError(t, err)
		ctx, cancel := context.WithTimeout(context.Background(), 200*time.Millisecond)
		defer cancel()
		began := time.Now()
		require.Error(t, box.Send(ctx, m))
		assert.Less(t, time.Since(began), sendPatience*2/3, "it ends with the context, not with the library's own time-out")
	})
}

// TestTemplateIsReadAnew: a changed template goes with the next message; one with a slip,
// or none, leaves the one before.
func TestTemplateIsReadAnew(t *testing.T) {
	var got []string
	srv := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		b, err := io.ReadAll(r.Body)
		assert.NoError(t, err)
		got = append(got, string(b))
	}))
	defer srv.Close()
	file := filepath.Join(t.TempDir(), "body")
	write := func(s string) { require.NoError(t, os.WriteFile(file, []byte(s), 0o600)) }
	write("one {{.Title}}")
	w, err := newWebhook(garden.Webhook{URL: srv.URL, BodyFile: file})
	require.NoError(t, err)
	send := func() { require.NoError(t, w.Send(context.Background(), &Message{Title: "x"})) }
	send()
	write("two {{.Title}}")
	send()
	write("three {{.Nobody}}")
	send()
	write("four {{")
	send()
	require.NoError(t, os.Remove(file))
	send()
	write("five {{.Title}}")
	send()
	assert.Equal(t, []string{"one x", "two x", "two x", "two x", "two x", "five x"}, got)
}

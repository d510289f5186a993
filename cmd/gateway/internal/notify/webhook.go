package notify

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"sync"
	"time"

	"fabricpot/control/garden"
)

// webhook posts messages to an address.
type webhook struct {
	set  garden.Webhook
	host string
	nth  int // of those to this host, from 1 on

	mu   sync.Mutex // of what follows
	text string     // the template as it was read last
	body *body      // nil for JSON
}

// newWebhook reads the template, and tries it, so that a slip in it is found at
// the start and not in the night.
func newWebhook(set garden.Webhook) (*webhook, error) {
	u, err := url.Parse(set.URL)
	if err != nil || u.Host == "" {
		return nil, fmt.Errorf("webhook: no address, expected https://HOST/…")
	}
	w := &webhook{set: set, host: u.Host, nth: 1}
	if err := w.read(); err != nil {
		return nil, fmt.Errorf("webhook %s: body: %w", w.host, err)
	}
	return w, nil
}

// read takes up the template where it changed and has no slip.
func (w *webhook) read() error {
	name := w.set.BodyFile
	if name == "" {
		return nil
	}
	text, err := os.ReadFile(name)
	if err != nil {
		return err
	}
	if len(text) > mostBody {
		return fmt.Errorf("%s is longer than %d bytes", name, mostBody)
	}
	if w.body != nil && string(text) == w.text {
		return nil
	}
	b, err := newBody(name, string(text))
	if err == nil {
		_, err = b.write(&Message{Title: "try", Alarms: []Item{{Name: "try"}}})
	}
	if err == nil {
		w.text, w.body = string(text), b
	}
	return err
}

// asJSON is for templates that write JSON: it quotes.
func asJSON(v any) (string, error) {
	b, err := json.Marshal(v)
	return string(b), err
}

func (w *webhook) write(m *Message) ([]byte, error) {
	if w.set.BodyFile == "" {
		return json.Marshal(m)
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	// Read anew each time, as secrets are. One with a slip is worth less than the one
	// before it, which goes on; check tells of the slip.
	_ = w.read()
	return w.body.write(m)
}

// Name is the host alone, with a number from the second to it on: the rest of an
// address may be a secret.
func (w *webhook) Name() string {
	if w.nth > 1 {
		return fmt.Sprintf("webhook %s no. %d", w.host, w.nth)
	}
	return "webhook " + w.host
}

// Send posts one message. Any answer of the 2xx kind is success; one of the 4xx
// kind, but for time-out and too many, is for good.
func (w *webhook) Send(ctx context.Context, m *Message) error {
	body, err := w.write(m)
	if err != nil {
		return fmt.Errorf("body: %w", errors.Join(err, errForGood))
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, w.set.URL, bytes.NewReader(body))
	if err != nil {
		return errors.Join(errors.New("the address makes no request"), errForGood)
	}
	kind := w.set.ContentType
	if kind == "" {
		kind = "application/json"
	}
	req.Header.Set("Content-Type", kind)
	req.Header.Set("User-Agent", "fabricpot-gateway")
	for _, h := range w.set.Headers {
		v := h.Value
		if h.SecretFile != "" {
			// Read anew each time: a secret that was changed is taken up at once.
			lines, err := readSecret(h.SecretFile, 1)
			if err != nil {
				return err
			}
			v = lines[0]
		}
		req.Header.Set(h.Name, v)
	}
	secure, err := trust("", w.set.CAFile)
	if err != nil {
		return err
	}
	client := &http.Client{
		Transport: &http.Transport{TLSClientConfig: secure, DisableKeepAlives: true, ForceAttemptHTTP2: true, TLSHandshakeTimeout: 10 * time.Second},
		// A secret header must not follow to another place.
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
	res, err := client.Do(req)
	if err != nil {
		// The client's own error holds the whole address.
		var u *url.Error
		if errors.As(err, &u) {
			err = u.Err
		}
		return fmt.Errorf("%s: %w", w.host, err)
	}
	defer res.Body.Close()
	_, _ = io.Copy(io.Discard, io.LimitReader(res.Body, mostBody))
	switch c := res.StatusCode; {
	case c >= 200 && c < 300:
		return nil
	case c >= 300 && c < 500 && c != http.StatusRequestTimeout && c != http.StatusTooManyRequests && c != http.StatusTooEarly:
		return fmt.Errorf("%s answered %s: %w", w.host, res.Status, errForGood)
	}
	return fmt.Errorf("%s answered %s", w.host, res.Status)
}

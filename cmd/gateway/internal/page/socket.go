// Package page serves the local page and the control socket: one set of
// handlers, reached by a browser over TCP and by the program's own commands
// over a unix socket that only the gateway's user may open.
package page

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// ErrNobody tells that no gateway answers on the socket.
var ErrNobody = errors.New("no gateway is running here")

// DefaultSocket is where a gateway listens for commands: the user's runtime
// folder, or a folder of their own in the temporary one.
func DefaultSocket() string {
	if dir := os.Getenv("RUNTIME_DIRECTORY"); dir != "" { // set by the service manager
		return filepath.Join(strings.Split(dir, ":")[0], "gateway.sock")
	}
	if dir := os.Getenv("XDG_RUNTIME_DIR"); dir != "" {
		return filepath.Join(dir, "fabricpot", "gateway.sock")
	}
	return filepath.Join(os.TempDir(), fmt.Sprintf("fabricpot-%d", os.Getuid()), "gateway.sock")
}

// Client talks to a running gateway over its control socket.
type Client struct {
	path string
	http http.Client
}

// NewClient returns a client for the socket at path. It does not connect.
func NewClient(path string) *Client {
	var d net.Dialer
	return &Client{path: path, http: http.Client{
		// Closing every line may have to be repeated until it is confirmed.
		Timeout: 30 * time.Second,
		Transport: &http.Transport{DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
			return d.DialContext(ctx, "unix", path)
		}},
	}}
}

// unasked is ErrNobody with what is known of why: somebody may be there whom this
// user must not ask.
func unasked(path string, dial error) error {
	if errors.Is(dial, fs.ErrPermission) {
		return fmt.Errorf("%w, or none that you may ask (socket %s: permission denied; try it as the gateway's user)", ErrNobody, path)
	}
	return fmt.Errorf("%w (socket %s)", ErrNobody, path)
}

// Do sends one request and decodes the JSON answer into out, which may be nil.
// It returns ErrNobody where no gateway listens.
func (c *Client) Do(ctx context.Context, method, path string, in, out any) error {
	var body io.Reader
	if in != nil {
		b, err := json.Marshal(in)
		if err != nil {
			return err
		}
		body = strings.NewReader(string(b))
	}
	req, err := http.NewRequestWithContext(ctx, method, "http://gateway"+path, body)
	if err != nil {
		return err
	}
	if in != nil {
		req.Header.Set("Content-Type", "application/json")
	}
	res, err := c.http.Do(req)
	if err != nil {
		var op *net.OpError
		if errors.As(err, &op) && op.Op == "dial" {
			return unasked(c.path, err)
		}
		return fmt.Errorf("asking the gateway at %s: %w", c.path, err)
	}
	defer res.Body.Close()
	data, err := io.ReadAll(io.LimitReader(res.Body, 16<<20))
	if err != nil {
		return fmt.Errorf("reading the gateway's answer: %w", err)
	}
	if res.StatusCode != http.StatusOK {
		var refused struct {
			Error string `json:"error"`
		}
		if json.Unmarshal(data, &refused) == nil && refused.Error != "" {
			return errors.New(refused.Error)
		}
		return fmt.Errorf("the gateway answered %s", res.Status)
	}
	if out == nil {
		return nil
	}
	return json.Unmarshal(data, out)
}

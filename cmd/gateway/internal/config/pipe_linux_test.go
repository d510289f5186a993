package config_test

import (
	"fmt"
	"net"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/config"
)

// TestReadFileThatIsNone: what may keep its reader waiting for ever is refused at
// once, and what reads as a file is not.
func TestReadFileThatIsNone(t *testing.T) {
	dir := t.TempDir()
	read := func(path string) ([]byte, error) {
		t.Helper()
		type answer struct {
			src []byte
			err error
		}
		got := make(chan answer, 1)
		go func() {
			src, err := config.ReadFile(path)
			got <- answer{src, err}
		}()
		select {
		case a := <-got:
			return a.src, a.err
		case <-time.After(10 * time.Second):
			require.Fail(t, "still reading", path)
			return nil, nil
		}
	}
	in := func(name string) string { return filepath.Join(dir, name) }
	require.NoError(t, syscall.Mkfifo(in("pipe"), 0o600))
	require.NoError(t, os.Symlink("pipe", in("to-pipe")))
	l, err := net.Listen("unix", in("socket"))
	require.NoError(t, err)
	defer l.Close()
	for path, kind := range map[string]string{
		in("pipe"): "a named pipe", in("to-pipe"): "a named pipe", in("socket"): "a socket",
		dir: "a directory", "/dev/zero": "a device",
	} {
		_, err := read(path)
		assert.EqualError(t, err, "garden file: "+path+" is "+kind+"; expected a file, or a link to one")
	}

	require.NoError(t, os.WriteFile(in("garden.yaml"), []byte("site:"), 0o600))
	require.NoError(t, os.Symlink("garden.yaml", in("link")))
	r, w, err := os.Pipe()
	require.NoError(t, err)
	defer r.Close()
	_, err = w.WriteString("site:")
	require.NoError(t, err)
	require.NoError(t, w.Close())
	for _, path := range []string{in("garden.yaml"), in("link"), fmt.Sprintf("/dev/fd/%d", r.Fd())} {
		src, err := read(path)
		require.NoError(t, err)
		assert.Equal(t, "site:", string(src), path)
	}
}

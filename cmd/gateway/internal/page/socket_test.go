package page

import (
	"context"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestNobodyToAsk: a socket that is not there and one that others may not use are
// told apart.
func TestNobodyToAsk(t *testing.T) {
	path := filepath.Join(t.TempDir(), "s")
	err := NewClient(path).Do(context.Background(), "GET", "/status", nil, nil)
	require.ErrorIs(t, err, ErrNobody)
	assert.Equal(t, "no gateway is running here (socket "+path+")", err.Error())

	// As net/http has it, connect(2) refused by the mode of the socket or its folder.
	denied := &url.Error{Op: "Get", Err: &net.OpError{Op: "dial", Net: "unix", Err: os.NewSyscallError("connect", syscall.EACCES)}}
	err = unasked("/run/s", denied)
	require.ErrorIs(t, err, ErrNobody)
	assert.ErrorContains(t, err, "or none that you may ask (socket /run/s: permission denied; try it as")
}

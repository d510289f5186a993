package broker

import (
	"io"
	"net"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// hangsUp reports whether the other end closes the connection before patience
// ends.
func hangsUp(c net.Conn, patience time.Duration) bool {
	_ = c.SetReadDeadline(time.Now().Add(patience))
	_, err := c.Read(make([]byte, 1))
	return err == io.EOF
}

// TestClosingHangsUpOnWhoIsBeingLetIn: who connects in the moment the broker ends
// is not left waiting for an answer, as a node that comes back after a restart
// would be for half a minute.
func TestClosingHangsUpOnWhoIsBeingLetIn(t *testing.T) {
	dial := func(l net.Addr) net.Conn {
		c, err := net.Dial("tcp", l.String())
		require.NoError(t, err)
		t.Cleanup(func() { c.Close() })
		return c
	}
	t.Run("accepted and let fall", func(t *testing.T) {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		require.NoError(t, err)
		g := newGate(l, time.Hour, 2)
		c := dial(g.Addr())
		fallen, err := g.Accept()
		require.NoError(t, err)
		require.NoError(t, g.Close())
		assert.True(t, hangsUp(c, 10*time.Second))
		assert.Empty(t, g.room, "its place is free again")
		assert.Error(t, fallen.Close(), "closed already")
		_, err = g.Accept()
		assert.ErrorIs(t, err, net.ErrClosed)
	})
	t.Run("by a broker", func(t *testing.T) {
		b, err := Start(Options{Listen: "127.0.0.1:0", ConnectWithin: time.Hour})
		require.NoError(t, err)
		c := dial(b.Addr())
		assert.False(t, hangsUp(c, 100*time.Millisecond), "it has an hour to say who it is")
		ended := make(chan struct{})
		go func() { defer close(ended); b.Close() }()
		assert.True(t, hangsUp(c, 10*time.Second))
		select {
		case <-ended:
		case <-time.After(10 * time.Second):
			assert.Fail(t, "the broker waits for who never said who it is")
		}
	})
}

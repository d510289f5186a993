package control

import (
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/require"
)

// What is kept of a tick's length is what that length gives, however ticks follow one
// another: at the start, of no length, late, and back to the usual.
func TestWhatIsKeptOfATickIsItsOwn(t *testing.T) {
	p := &Plan{}
	st := p.NewState()
	for _, dt := range []time.Duration{0, time.Minute, time.Minute, 0, 61 * time.Second, time.Minute, 24 * time.Hour, 0} {
		p.account(st, garden.Moment{}, &garden.Observed{}, dt, 0, 0)
		require.Equal(t, passed(dt), st.tick, "%v", dt)
		require.NotZero(t, st.tick.alike)
	}
}

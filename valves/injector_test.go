package valves

import (
	"errors"
	"sync/atomic"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// tap notes what it was told, in an order shared with its companion.
type tap struct {
	name      string
	told      *[]string
	open      bool
	openFails error
	shutFails error
}

func (t *tap) Open(g Grant) error {
	*t.told = append(*t.told, t.name+" open")
	if !g.Valid() {
		return ErrNoGrant
	}
	t.open = t.openFails == nil
	return t.openFails
}

func (t *tap) Close() error {
	*t.told = append(*t.told, t.name+" close")
	if t.shutFails == nil {
		t.open = false
	}
	return t.shutFails
}

func (t *tap) Closed() (closed, known bool) { return !t.open, true }

func TestInjectorFollowsItsLine(t *testing.T) {
	live := &atomic.Bool{}
	live.Store(true)
	grant := func(k garden.OrderKind) Grant {
		return Grant{line: "l", order: 1, maxOn: time.Minute, kind: k, live: live}
	}
	make := func() (Actuator, *tap, *tap, *[]string) {
		told := &[]string{}
		line, inj := &tap{name: "line", told: told}, &tap{name: "injector", told: told}
		return WithInjector(line, inj), line, inj, told
	}
	t.Run("only feed engages it", func(t *testing.T) {
		for k := garden.Irrigate; k <= garden.Commission; k++ {
			w, line, inj, _ := make()
			require.NoError(t, w.Open(grant(k)))
			assert.True(t, line.open)
			assert.Equal(t, k == garden.Feeding, inj.open, "%s", k)
		}
	})
	t.Run("after the water, and gone before it", func(t *testing.T) {
		w, _, _, told := make()
		require.NoError(t, w.Open(grant(garden.Feeding)))
		require.NoError(t, w.Close())
		assert.Equal(t, []string{"injector close", "line open", "injector open", "injector close", "line close"}, *told)
		closed, known := w.Closed()
		assert.True(t, closed && known)
	})
	t.Run("no water, no feed", func(t *testing.T) {
		w, line, inj, _ := make()
		line.openFails = errors.New("stuck")
		require.Error(t, w.Open(grant(garden.Feeding)))
		assert.False(t, inj.open)
	})
	t.Run("an injector that does not engage closes the line", func(t *testing.T) {
		w, line, inj, _ := make()
		inj.openFails = errors.New("stuck")
		require.Error(t, w.Open(grant(garden.Feeding)))
		assert.False(t, line.open)
	})
	t.Run("one that can't be released lets no water through", func(t *testing.T) {
		w, line, inj, _ := make()
		inj.shutFails, inj.open = errors.New("stuck"), true
		require.Error(t, w.Open(grant(garden.Irrigate)))
		assert.False(t, line.open)
		closed, _ := w.Closed()
		assert.False(t, closed)
		require.Error(t, w.Close(), "and the line is closed all the same")
	})
	t.Run("no grant", func(t *testing.T) {
		w, line, inj, _ := make()
		require.ErrorIs(t, w.Open(Grant{}), ErrNoGrant)
		assert.False(t, line.open || inj.open)
	})
}

func TestPermitBoundsTheInjector(t *testing.T) {
	o, f := calm()
	f.maxDose = 5 * time.Minute
	o.Kind = garden.Feeding
	p, cause, _ := permit(o, f, Env{})
	require.Equal(t, garden.NotRefused, cause)
	assert.Equal(t, 5*time.Minute, p.maxOn)
	o.Kind = garden.Irrigate
	p, _, _ = permit(o, f, Env{})
	assert.Greater(t, p.maxOn, 14*time.Minute, "water alone may run longer")
	o.Kind, f.maxDose = garden.Feeding, 0
	p, _, _ = permit(o, f, Env{})
	assert.Greater(t, p.maxOn, 14*time.Minute, "no limit of its own")
}

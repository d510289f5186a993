package valves

import (
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// briefValve can't open for less than a second.
type briefValve struct{ *fakeValve }

func (briefValve) LeastOn() time.Duration { return time.Second }

// TestLessThanAValveCanOpenFor: so little water is refused before anything is
// written or commanded, and no driver fails for it.
func TestLessThanAValveCanOpenFor(t *testing.T) {
	open := func(broken bool, litres float64) (*rig, garden.RefusalCause) {
		r := newRig(t, func(_ *garden.Garden, o *Options) { o.Margin = 2 })
		v := briefValve{r.valves["chilli"]}
		v.open = true
		gd, err := NewGuard(r.g, map[garden.LineID]Actuator{"chilli": NewPump(&fakeValve{}).Behind(Own(WithInjector(v, &fakeValve{}), time.Minute, realTime{}))}, r.ledger, Options{Margin: 2})
		require.NoError(t, err)
		gd.CloseAll(at(time.Hour))
		*r.log, r.ledger.broken = nil, broken
		ref, _ := gd.Request(at(2*time.Hour), Env{}, r.order("chilli", litres, time.Hour))
		st, _ := gd.Snapshot(at(2 * time.Hour))
		assert.Zero(t, st[0].Failures)
		return r, ref.Cause
	}
	// 8 L/h are 2.2 mL a second, and the guard gives twice the nominal time.
	r, cause := open(false, 0.001)
	assert.Equal(t, garden.TooShort, cause)
	assert.Empty(t, *r.log)
	_, cause = open(false, 0.0012)
	assert.Equal(t, garden.NotRefused, cause)
	// Without a journal it is the nominal time.
	_, cause = open(true, 0.0012)
	assert.Equal(t, garden.NoJournal, cause)
	_, cause = open(true, 0.0023)
	assert.Equal(t, garden.NotRefused, cause)
}

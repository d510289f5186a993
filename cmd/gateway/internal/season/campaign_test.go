package season

import (
	"bytes"
	"context"
	"encoding/json"
	"testing"
	"time"

	"fabricpot/control"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestCampaign plays a fixed number of short seasons with everything that can go
// wrong and holds each against the invariants. gateway simulate --faults plays
// as many as anybody has patience for.
func TestCampaign(t *testing.T) {
	seeds, per := 24, 7
	if testing.Short() {
		seeds, per = 2, 4
	}
	c, err := RunCampaign(context.Background(), 1, seeds, per, nil)
	require.NoError(t, err)
	var out bytes.Buffer
	require.NoError(t, c.WriteTable(&out))
	t.Log("\n" + out.String())
	assert.Empty(t, c.Failed)
	// A run nobody watered would break nothing.
	assert.Greater(t, c.Orders, 3*c.Runs)
	assert.Empty(t, c.FalseAlarms, "alarms without a fault")
	if !testing.Short() {
		assert.Greater(t, c.Deaths, seeds/2)
		// Half of the terraces are fed, and a feed is due as they begin.
		assert.Greater(t, c.Feeds, c.Runs/4)
		for _, m := range c.Mishaps {
			if m.WithinS > 0 {
				assert.Positive(t, m.Judged, "%s was never put to the test", m.Kind)
			}
		}
	}
}

// TestReplay: a script is its seed, and a seed is its run, to the last byte.
func TestReplay(t *testing.T) {
	once := func(seed uint64) string {
		o, err := Play(NewScript(seed, Several, 4, ""))
		require.NoError(t, err)
		b, err := json.Marshal(o)
		require.NoError(t, err)
		return string(b)
	}
	assert.Equal(t, once(11), once(11))
	assert.NotEqual(t, once(11), once(12))
}

// TestCapsAgree: the guard's cap, reckoned from its own books, is the plan's.
// Where the guard's were tighter the controller would go on asking in vain.
func TestCapsAgree(t *testing.T) {
	for seed := range uint64(40) {
		s := NewScript(seed, Clean, 1, "")
		g, err := s.garden()
		require.NoError(t, err)
		caps, err := capsOf(g)
		require.NoError(t, err)
		p, _, err := control.NewPlan(g)
		require.NoError(t, err)
		for _, l := range p.Lines() {
			assert.InDelta(t, l.CapL, caps[l.ID], 1e-9, "seed %d, line %s", seed, l.ID)
		}
	}
}

// TestShrink: a failure that needs one mishap of four is told with that one.
func TestShrink(t *testing.T) {
	s := NewScript(5, Several, 6, "")
	s.Mishaps = append(s.Mishaps, Mishap{Kind: "bus stuck", At: 30 * time.Hour})
	s.Restarts = []Restart{{At: 40 * time.Hour, Down: time.Second}}
	fails := func(s Script) (Outcome, error) {
		o := Outcome{Script: s}
		for _, m := range s.Mishaps {
			if m.Kind == "bus stuck" {
				o.Violations = []string{"it did it"}
			}
		}
		return o, nil
	}
	o, err := fails(s)
	require.NoError(t, err)
	got := Shrink(o, fails).Script
	require.Len(t, got.Mishaps, 1)
	assert.Equal(t, MishapKind("bus stuck"), got.Mishaps[0].Kind)
	assert.Empty(t, got.Restarts)
	assert.Equal(t, 2, got.Days)
}

// TestReplayFurther: so is each mishap that reaches beyond one part.
func TestReplayFurther(t *testing.T) {
	for i, d := range further {
		once := func() string {
			o, err := Play(NewScript(uint64(40+i), Single, 3, d.kind))
			require.NoError(t, err)
			b, err := json.Marshal(o)
			require.NoError(t, err)
			return string(b)
		}
		assert.Equal(t, once(), once(), "%s", d.kind)
	}
}

// TestShrinkFar shrinks a real failure: a broker that brings an order again.
func TestShrinkFar(t *testing.T) {
	again := func(s Script) (Outcome, error) { return play(s, tricks{far: func(e *farEnd) { e.replays = true }}) }
	s := NewScript(1, Single, 7, "broker away in mid-watering")
	s.Mode = Several
	s.Mishaps = append(s.Mishaps, Mishap{Kind: "probe noisy", At: 30 * time.Hour}, Mishap{Kind: "clock jumps back", At: 20 * time.Hour})
	s.Restarts = []Restart{{At: 100 * time.Hour, Down: time.Second}}
	o, err := again(s)
	require.NoError(t, err)
	require.NotEmpty(t, o.Violations)
	got := Shrink(o, again).Script
	require.Len(t, got.Mishaps, 1)
	assert.Equal(t, MishapKind("broker away in mid-watering"), got.Mishaps[0].Kind)
	assert.Empty(t, got.Restarts)
	assert.Less(t, got.Days, 7)
}

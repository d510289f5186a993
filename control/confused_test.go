package control

import (
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A pair that showed itself stays one until a probe clearly answers to its own line.
func TestAPairStaysUntilAClearAnswer(t *testing.T) {
	swapped := [3]float64{0, 0.06, 0}
	confused := func(r *swapRig) []bool { return []bool{r.s.Confused(0), r.s.Confused(1), r.s.Confused(2)} }
	r := newSwapRig()
	r.water("a", swapped)
	assert.Equal(t, []bool{false, false, false}, confused(r), "once may be a can")
	r.water("a", swapped)
	require.Equal(t, []bool{true, true, false}, confused(r))
	r.water("a", [3]float64{})
	r.water("a", [3]float64{0.02, 0, 0})
	r.water("a", [3]float64{0.06, 0, 0}, "b")
	r.water("c", [3]float64{0, 0, 0.06})
	assert.Equal(t, []bool{true, true, false}, confused(r), "nothing of that is clear")
	r.water("b", [3]float64{0, 0.06, 0})
	assert.Equal(t, []bool{false, false, false}, confused(r), "the plugs are right again")
	r.water("a", swapped)
	assert.Equal(t, []bool{false, false, false}, confused(r), "and it begins anew")
	assert.False(t, r.s.Confused(-1))
	assert.False(t, r.s.Confused(3))
}

// What shows itself again late, or a can beside it, takes nothing back.
func TestAPairIsNotForgotten(t *testing.T) {
	swapped := [3]float64{0, 0.06, 0}
	r := newSwapRig()
	r.water("a", swapped)
	r.water("a", swapped)
	require.True(t, r.s.Confused(0))
	r.now += 2 * swapSoon
	r.water("a", swapped)
	assert.True(t, r.s.Confused(0) && r.s.Confused(1), "two months later")
	r.water("a", [3]float64{0, 0, 0.06})
	assert.True(t, r.s.Confused(0) && r.s.Confused(1), "a hand with a can")

	next := newSwapRig()
	next.s.Follow(r.s)
	assert.True(t, next.s.Confused(0) && next.s.Confused(1), "another version of the garden")
	assert.False(t, next.s.Confused(2))
}

// A pot whose probe hangs in another gets its band at once, then lives on its balance,
// and its probe is believed again once it moves with its water. Another probe of the
// same pot is believed all along.
func TestAConfusedProbeIsNotBelieved(t *testing.T) {
	b := newBench(t, testGarden(1, 15))
	b.run(3 * time.Hour)
	z, zp := &b.st.zones[0], &b.p.zones[0]
	require.True(t, z.trusted && z.known)
	b.p.Confuse(b.st, 0, true)
	b.p.Confuse(b.st, 7, true)
	b.lie = func(_ int, v float64) float64 { return 0.20 } // as its own pot would be if it were dry
	b.run(2 * time.Minute)
	require.NotEmpty(t, b.log)
	assert.Equal(t, garden.Estimated, b.log[0].Kind, "for nobody knows what the pot has been without")
	b.run(4 * time.Hour)
	planned := 0.0
	for _, o := range b.log {
		planned += o.Litres
	}
	assert.InDelta(t, z.band*zp.VolumeL, planned/zp.share, 0.35*z.band*zp.VolumeL)
	n := len(b.log)
	b.lie = func(_ int, v float64) float64 { return v } // moves with its pot's water
	b.run(36 * time.Hour)
	for _, o := range b.log[n:] {
		assert.Equal(t, garden.Estimated, o.Kind, "whatever it reads")
	}
	require.Greater(t, len(b.log), n)
	b.p.Confuse(b.st, 0, false)
	b.run(6 * 24 * time.Hour)
	assert.False(t, b.st.probes[0].distrusted)
	assert.Equal(t, garden.Irrigate, b.log[len(b.log)-1].Kind)

	g := testGarden(1, 15)
	g.Pots[0].Zones[0].Probes = append(g.Pots[0].Zones[0].Probes, garden.Probe{ID: "deep", Zone: "pot0", DepthCM: 35})
	b = newBench(t, g)
	b.run(3 * time.Hour)
	b.p.Confuse(b.st, 0, true)
	b.run(30 * time.Minute)
	assert.True(t, b.st.zones[0].trusted)
	assert.Empty(t, b.log)
}

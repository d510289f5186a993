package season

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/crop"
	"fabricpot/sim/terrace"
)

// What salt costs is reckoned from the saturation extract, which is thinner than the
// water of the drained pot by what a pot of 45 cm of that mix holds drained of what its
// pores would (0.509 of 0.88: see control/medium's tests).
func TestSaltIsReckonedFromTheExtract(t *testing.T) {
	c := QuickTrial().Cases[0]
	w, err := newTrialLab().world(context.Background(), c, 1)
	require.NoError(t, err)
	require.Equal(t, 0.5, w.g.Supply.ECmS.Value)
	for i := range w.g.Mixes {
		w.g.Mixes[i].StarterNmgL = 0 // a starter charge is salt as well
	}
	soil, err := terrace.New(w.g, w.start, w.terraceOptions())
	require.NoError(t, err)
	watch := newTrialWatch(w, soil)
	for n, want := range map[int]float64{0: 1.1, 1: 2.5, 2: 1.0, 3: 1.5, 4: 1.0, 5: 1.0} {
		assert.Equal(t, want, watch.hardy[n].ThresholdMS, "aubergine, cucumber, bean, chilli and strawberries in turn")
	}
	require.InDelta(t, 0.509/0.88, watch.extract[0], 0.003)
	for n := range watch.hardy {
		watch.hardy[n] = crop.SaltTolerance{ThresholdMS: 0.01, SlopePC: 1000, Source: "test"}
	}
	watch.day()
	assert.Zero(t, watch.saltLost(0), "a fresh mix has none")
	// Three litres of tap water into a pot of 75 L that has room for them: what they
	// bring is thinned by all that it holds drained.
	soil.Advance(3 * 24 * time.Hour)
	soil.PourByHand(0, 3)
	soil.Advance(4 * 24 * time.Hour)
	require.Less(t, soil.Totals(0).DrainedL, 1e-9)
	watch.day()
	extract := 0.5 * 3 / (0.509 * 75) * 0.509 / 0.88
	assert.InDelta(t, 10*(extract-0.01)/2, watch.saltLost(0), 0.002, "the mean of two days")
	assert.Zero(t, watch.saltLost(5))
}

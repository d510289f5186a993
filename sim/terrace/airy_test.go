package terrace

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What is answered by what came in since is what the sum over the layers says, at every
// minute of spring rain with lines that open at random and stay open until pots stand
// under water.
func TestAiryIsTheMeansWord(t *testing.T) {
	g := smallGarden()
	rows := seattle(t, g)
	for i := range rows {
		rows[i].RainMM.Value *= 8
	}
	o := DefaultOptions(5, rows)
	// A tight mix, so that there are pots that hold their air and pots that don't.
	g.Mixes[0].Retention.KsCMH, g.Mixes[0].Retention.AlphaPerCM, g.Mixes[0].Retention.N = .3, .03, 1.3
	te := build(t, g, may1, o)
	rng := rand.New(rand.NewPCG(1, 2))
	airy, not, unsummed := 0, 0, 0
	for at := time.Minute; at <= 40*24*time.Hour; at += time.Minute {
		if rng.IntN(90) == 0 {
			te.SetValve("one", rng.IntN(8) == 0)
			te.SetValve("two", rng.IntN(3) == 0)
		}
		if rng.IntN(3000) == 0 {
			te.PourByHand(rng.IntN(te.Zones()), 20)
		}
		te.Advance(at)
		for i, z := range te.zones {
			want := z.porosity-z.col.Mean() >= z.leastAir
			if z.col.In() < z.airyTill {
				unsummed++
			}
			require.Equal(t, want, z.airy(), "zone %d at %v", i, at)
			if want {
				airy++
			} else {
				not++
			}
		}
	}
	t.Logf("airy %d times, %d of them unsummed, not %d", airy, unsummed, not)
	assert.Greater(t, airy, 10_000)
	assert.Greater(t, unsummed, airy/2)
	assert.Greater(t, not, 1_000)
}

package season

import (
	"path/filepath"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/sim/terrace"
	"fabricpot/testdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestAGatewayThatIsOffForHoursEachDay keeps the example's terrace, of which one pot has no
// probe, without power from nine to noon every day. What is learnt of the pots and what
// they get is what it is with a gateway that always runs.
func TestAGatewayThatIsOffForHoursEachDay(t *testing.T) {
	const days = 20
	season := func(t *testing.T, off time.Duration) *Bench {
		g := load(t, "terrace.yaml", testdata.Terrace)
		g.SampleEvery = 5 * time.Minute
		g.Pots[0].Zones[0].Probes = nil
		start := time.Date(2026, 6, 15, 9, 0, 0, 0, g.Site.Zone)
		path := filepath.Join(t.TempDir(), "journal.db")
		life := func(world *Bench, up time.Duration) *Bench {
			j, _, err := journal.Open(path, journal.WithClock("one"))
			require.NoError(t, err)
			t.Cleanup(func() { _ = j.Close() })
			b, err := NewBench(g, Options{Seed: 5, Start: start, Weather: Climate(3, start, days+2), Terrace: terrace.DefaultOptions(5, nil),
				World: world, SinceBoot: up, Journal: runner.NewKeeper(j), History: j})
			require.NoError(t, err)
			require.NoError(t, b.Begin())
			return b
		}
		b := life(nil, 0)
		for day := range time.Duration(days) {
			at := (day + 1) * 24 * time.Hour
			if b.RunTo(at); off > 0 {
				b.End()
				b.Die(true)
				b.RunTo(at + off)
				b = life(b, at+off)
			}
		}
		return b
	}
	want, got := season(t, 0), season(t, 3*time.Hour)
	always := want.Plan.View(want.State, want.Moment(), nil)
	for i, v := range got.Plan.View(got.State, got.Moment(), nil) {
		a, b := want.Terrace.Totals(i), got.Terrace.Totals(i)
		assert.InDelta(t, always[i].Factor, v.Factor, 0.1, "%s: what it drinks against the book", v.Zone)
		assert.InEpsilon(t, a.AppliedL, b.AppliedL, 0.1, "%s: litres given", v.Zone)
		assert.Less(t, b.PotentialTranspirationL-b.TranspiredL, 0.01*b.PotentialTranspirationL, "%s: thirst", v.Zone)
	}
}

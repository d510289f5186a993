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
// they get is what it is with a gateway that always runs; also on a board without a clock
// of its own, which hears the time a minute after each start. Where it never does, no pot
// that has a line goes thirsty.
func TestAGatewayThatIsOffForHoursEachDay(t *testing.T) {
	const days = 20
	season := func(t *testing.T, off time.Duration, clockless, told bool) *Bench {
		g := load(t, "terrace.yaml", testdata.Terrace)
		g.SampleEvery = 5 * time.Minute
		g.Pots[0].Zones[0].Probes = nil
		start := time.Date(2026, 6, 15, 9, 0, 0, 0, g.Site.Zone)
		path := filepath.Join(t.TempDir(), "journal.db")
		life := func(world *Bench, up time.Duration) *Bench {
			j, _, err := journal.Open(path, journal.WithClock("one")) // the bench's goes on through it
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
				if clockless {
					b.skew, b.unsynced = time.Unix(0, 0).Sub(start.Add(at+off)), true
				}
				b = life(b, at+off)
				if b.RunTo(at + off + time.Minute); told {
					b.skew, b.unsynced = 0, false
				}
			}
		}
		return b
	}
	want := season(t, 0, false, false)
	always := want.Plan.View(want.State, want.Moment(), nil)
	for name, c := range map[string]struct{ clockless, told bool }{"a board with a clock": {}, "a board without": {true, true}, "and nobody tells it": {true, false}} {
		got := season(t, 3*time.Hour, c.clockless, c.told)
		for i, v := range got.Plan.View(got.State, got.Moment(), nil) {
			a, b := want.Terrace.Totals(i), got.Terrace.Totals(i)
			if c.clockless && !c.told {
				if _, z, _ := got.Garden.Zone(v.Zone); z.Line != "" {
					assert.Less(t, b.PotentialTranspirationL-b.TranspiredL, 0.01*b.PotentialTranspirationL, "%s, %s: thirst", name, v.Zone)
					assert.Less(t, b.AppliedL, 1.25*a.AppliedL, "%s, %s: litres given", name, v.Zone)
				}
				continue
			}
			assert.InDelta(t, always[i].Factor, v.Factor, 0.1, "%s, %s: what it drinks against the book", name, v.Zone)
			assert.InEpsilon(t, a.AppliedL, b.AppliedL, 0.1, "%s, %s: litres given", name, v.Zone)
			assert.Less(t, b.PotentialTranspirationL-b.TranspiredL, 0.01*b.PotentialTranspirationL, "%s, %s: thirst", name, v.Zone)
		}
	}
}

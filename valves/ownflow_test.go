package valves

import (
	"math"
	"testing"
	"time"

	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestOwnFlow: a line counts as flowing by what the meter shows without the line
// beside it, or over what that can give, and by no share in that one's water.
func TestOwnFlow(t *testing.T) {
	const rated = 8.0 // L/h, of both
	for _, c := range []struct {
		name string
		// flows are what they give, L/h; other is when the second is open.
		chilli, chard       float64
		otherFrom, otherFor time.Duration
		least, most         float64
		perL                float64
	}{
		{"alone", 8, 0, 0, 0, 8, 8, 450},
		{"both flow", 8, 8, 0, time.Hour, 0.6 * rated, 8, 450},
		{"blocked beside one that flows", 0, 8, 0, time.Hour, 0, 0.05 * rated, 450},
		{"blocked beside one that gives a fifth more", 0, 9.6, 0, time.Hour, 0, 0.05 * rated, 450},
		{"blocked, the other for a part of it", 0, 8, 2 * time.Minute, 5 * time.Minute, 0, 0.1 * rated, 450},
		{"blocked, the other opened first and a meter of few pulses", 0, 8, -2 * time.Minute, 8 * time.Minute, 0, 0.1 * rated, 4},
		{"flows, the other wide open for a part of it", 8, 4, 0, 5 * time.Minute, 0.6 * rated, 8.5, 450},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, func(g *garden.Garden, _ *Options) { metered(g) })
			begin := 2 * time.Hour
			var ran float64
			open := func(id garden.LineID) bool {
				for _, ln := range r.lines {
					if ln.id == id {
						return ln.pos == open
					}
				}
				return false
			}
			var got garden.Delivery
			for s := -300; s <= 600 && got.Order == 0; s++ {
				now := begin + time.Duration(s)*time.Second
				if open("chilli") {
					ran += c.chilli / 3600
				}
				if open("chard") {
					ran += c.chard / 3600
				}
				r.Meter(at(now), garden.Known(math.Floor(ran*c.perL)/c.perL))
				if c.otherFor > 0 && now == begin+c.otherFrom {
					_, ok := r.Request(at(now), Env{}, r.order("chard", 5, c.otherFor))
					require.True(t, ok)
				}
				if s == 0 {
					_, ok := r.Request(at(now), Env{}, r.order("chilli", 5, 10*time.Minute))
					require.True(t, ok)
				}
				for _, d := range r.Advance(at(now)) {
					if d.Line == "chilli" {
						got = d
					}
				}
				if s > 60 && open("chilli") {
					lines, _ := r.Snapshot(at(now))
					require.LessOrEqual(t, lines[0].OwnLPH, c.most*1.02+0.01, "after %d s", s)
				}
			}
			require.NotZero(t, got.Order)
			require.True(t, got.Metered)
			assert.GreaterOrEqual(t, got.OwnLPH, c.least*0.98)
			assert.LessOrEqual(t, got.OwnLPH, c.most*1.02+0.01)
		})
	}
}

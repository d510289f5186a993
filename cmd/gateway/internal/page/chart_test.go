package page

import (
	"regexp"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/picture"
)

// TestTimesUnderAChartStandApart: by a quarter more than their measured width, as browsers
// without the measured letters need (our judgement), at either size and at any hour.
func TestTimesUnderAChartStandApart(t *testing.T) {
	label := regexp.MustCompile(`<text x="(\d+)"[^>]*>(\d\d:\d\d|[A-Z][a-z]{2} \d+|\d+ [A-Z][a-z]{2})<`)
	for _, size := range []canvas{{350, 300}, {760, 330}} {
		for _, win := range windows() {
			for hour := range 24 {
				to := time.Date(2026, 7, 15, hour, 20, 0, 0, time.UTC)
				for _, back := range []time.Duration{win.back, win.back / 3, win.back / 10} {
					d := past{From: to.Add(-back), To: to, Until: to.Add(min(win.ahead, back/4)), Points: []journal.Point{{At: to, Mean: 0.4, N: 1}}}
					svg := string(drawPast(d, win, size, inkFor(false), prefs{}, time.UTC))
					end, n := 0, 0
					for _, m := range label.FindAllStringSubmatch(svg, -1) {
						x, err := strconv.Atoi(m[1])
						require.NoError(t, err)
						require.GreaterOrEqual(t, x, end, "%s, %d px, %v back at %d h: %q", win.Key, size.w, back, hour, m[2])
						end, n = x+picture.Width(m[2], picture.Style{Size: 12})*5/4, n+1
					}
					assert.GreaterOrEqual(t, n, 2, "%s, %d px, %v back at %d h", win.Key, size.w, back, hour)
				}
			}
		}
	}
}

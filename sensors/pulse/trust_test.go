package pulse

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

// given hands on a day of rain by the minute and tells the sum, and in how many
// hours any minute brought what unsettles a pot (0.05 mm, control's drizzle).
func given(tr *Trust, from time.Duration, mm func(minute int) float64) (sum float64, unsettled int) {
	last := -1
	for m := range 24 * 60 {
		got := tr.Take(from+time.Duration(m)*time.Minute, mm(m))
		sum += got
		if got >= 0.05 && m/60 != last {
			last = m / 60
			unsettled++
		}
	}
	return sum, unsettled
}

func TestTrustInRain(t *testing.T) {
	day := 24 * time.Hour
	every := func(n int, mm float64) func(int) float64 {
		return func(m int) float64 {
			if m%n == 0 {
				return mm
			}
			return 0
		}
	}
	var tr Trust
	sum, unsettled := given(&tr, 0, every(60, 0.2))
	assert.InDelta(t, 24*0.2, sum, 0.3, "a tip an hour is handed on")
	assert.Zero(t, unsettled, "as drizzle, which leaves probes their say")
	tr = Trust{}
	sum, _ = given(&tr, 0, func(m int) float64 {
		if m >= 600 && m < 630 {
			return 0.2
		}
		return 0
	})
	assert.InDelta(t, 6, sum, 0.05, "a shower of 6 mm is believed whole")
	tr = Trust{}
	// A bucket that rocks all day: 0.2 mm a minute, 288 mm.
	sum, unsettled = given(&tr, 0, every(1, 0.2))
	assert.LessOrEqual(t, sum, 2*rainTrustMM, "the first day: what is believed, and what comes back of it")
	sum, _ = given(&tr, day, every(1, 0.2))
	assert.LessOrEqual(t, sum, rainTrustMM*1.01, "and each day after")
	assert.Less(t, unsettled, 12)
}

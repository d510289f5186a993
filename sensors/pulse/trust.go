package pulse

import "time"

const (
	// rainTrustMM is how much rain a day a gauge alone is believed, mm. A bucket
	// that rocks in the wind or a reed that picks something up looks like rain,
	// and water that is only believed kills a plant; rain that is not believed
	// drains, and a probe sees it anyway. 8 mm on a pot's own area is less than
	// its plants drink on a summer day. Judgement.
	rainTrustMM = 8.0
	// downpourMM an hour is rain that disturbs a pot; less comes as drizzle, in
	// slices of drizzleMM, so that a tip now and then leaves probes their say.
	downpourMM = 1.0
	drizzleMM  = 0.04
)

// Trust bounds what a rain gauge alone can keep from the pots. The zero Trust is
// ready; one goroutine uses it.
type Trust struct {
	begun  bool
	at     time.Duration
	budget float64 // mm still believed
	held   float64 // tips that wait to be handed on, mm
	recent float64 // mm of about the last hour
}

// Take takes the rain since it was last called, mm, and gives what of it the pots
// may be told now.
func (t *Trust) Take(now time.Duration, mm float64) float64 {
	if !t.begun || now < t.at {
		t.begun, t.at, t.budget = true, now, rainTrustMM
	}
	dt := now - t.at
	t.at = now
	t.budget = min(rainTrustMM, t.budget+rainTrustMM*dt.Hours()/24)
	t.recent = max(0, t.recent-downpourMM*dt.Hours()) + max(0, mm)
	t.held = min(t.held+max(0, mm), t.budget)
	give := t.held
	if t.recent < downpourMM {
		give = min(give, drizzleMM)
	}
	t.held -= give
	t.budget -= give
	return give
}

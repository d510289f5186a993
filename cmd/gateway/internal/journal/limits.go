package journal

import (
	"encoding/json"
	"fmt"
)

// limitsKey names, among the journal's small values, which limits hold until when.
const limitsKey = "limits"

// heldLimits is what the guard has of versions of its garden file, and the clock
// that its monotonic times count on.
type heldLimits struct {
	Clock int64           `json:"clock"`
	Held  json.RawMessage `json:"held"`
}

// KeepLimits keeps which limits hold until when, as JSON of the guard's. One that a
// power cut takes away was kept by nobody, and counts from the next start.
func (j *Journal) KeepLimits(held []byte) error {
	b, err := json.Marshal(heldLimits{j.clockID, held})
	if err != nil {
		return fmt.Errorf("journal: limits: %w", err)
	}
	return j.SetMeta(limitsKey, string(b))
}

// Limits returns what KeepLimits kept last, nil for nothing yet. sameClock tells
// that it was kept on the reader's clock.
func (j *Journal) Limits() (held []byte, sameClock bool, err error) {
	text, ok, err := j.Meta(limitsKey)
	if err != nil || !ok {
		return nil, false, err
	}
	var h heldLimits
	if err := json.Unmarshal([]byte(text), &h); err != nil {
		return nil, false, nil // not ours to mend, and no reason to stay shut
	}
	return h.Held, h.Clock == j.clockID, nil
}

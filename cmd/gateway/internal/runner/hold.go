package runner

import (
	"time"

	"fabricpot/control/garden"
)

// mostHold bounds how long reloads that wait hold waterings back.
const mostHold = 2 * time.Hour

// hold is what a reload that waits for the lines to close does to new waterings.
// It begins once for a reload, however often that tries. Reloads that are asked
// for one after the other share the same two hours, until it has been off for as
// long.
type hold struct {
	on   bool
	from time.Duration
	used time.Duration // by earlier ones
	last time.Duration // when those ended
}

// begin holds waterings back, unless a hold is on or was for long enough.
func (h *hold) begin(now garden.Moment) {
	if h.on {
		return
	}
	if now.Mono-h.last >= mostHold {
		h.used = 0
	}
	h.on, h.from = true, now.Mono
}

// holds reports whether a new watering has to wait.
func (h *hold) holds(now garden.Moment) bool {
	return h.on && now.Mono-h.from < mostHold-h.used
}

// end lets waterings go.
func (h *hold) end(now garden.Moment) {
	if h.on {
		h.used = min(mostHold, h.used+max(0, now.Mono-h.from))
		h.on, h.last = false, now.Mono
	}
}

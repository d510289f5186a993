package main

import (
	"fmt"
	"slices"
	"strings"
)

// What came of reading the garden file again.
const (
	reloadApplied   = "applied"
	reloadUnchanged = "unchanged"
	reloadFaulty    = "faulty"
	reloadRestart   = "restart"
	reloadWaiting   = "waiting"
	reloadGaveUp    = "gave-up"
	reloadFailed    = "failed"
)

// reloadReport is where that stands.
type reloadReport struct {
	State string `json:"state"`
	File  string `json:"file"`
	// Problems are the faults of the file, Warnings what does not keep it from
	// being used; both begin with file, line and column.
	Problems []string `json:"problems,omitempty"`
	Warnings []string `json:"warnings,omitempty"`
	// Changed is what changed, Restart what of it takes a restart.
	Changed []string `json:"changed,omitempty"`
	Restart []string `json:"restart,omitempty"`
	// Ask is what who asked marked it with.
	Ask string `json:"ask,omitempty"`
	// Why says what it waits for, or what kept it from being applied.
	Why string `json:"why,omitempty"`
}

// over tells that nothing more will come of it.
func (r *reloadReport) over() bool { return r.State != reloadWaiting }

// words say it to a person, the outcome last.
func (r *reloadReport) words() []string {
	var out []string
	switch r.State {
	case reloadApplied:
		out = append(append(out, r.Warnings...), r.Changed...)
		out = append(out, fmt.Sprintf("%s was read again: %d changed, in force now", r.File, len(r.Changed)))
	case reloadUnchanged:
		out = append(out, r.Warnings...)
		out = append(out, r.File+" was read again: nothing changed")
	case reloadFaulty:
		out = append(out, r.Problems...)
		out = append(out, r.File+" has faults: nothing was changed, and the garden is kept as before")
	case reloadRestart:
		for _, c := range r.Changed {
			if slices.Contains(r.Restart, c) {
				c += "; this takes a restart"
			}
			out = append(out, c)
		}
		out = append(out, "nothing was changed: restart the gateway for all of it, or take back what takes a restart")
	case reloadWaiting:
		out = append(out, r.File+" is sound; it is taken over when every line is closed; "+r.Why)
	case reloadGaveUp:
		out = append(out, "nothing was changed: "+r.Why+"; ask again later, or restart the gateway")
	default:
		out = append(out, "nothing was changed: "+r.Why)
	}
	return out
}

// short lists changes for the journal.
func short(all []string) string {
	const most = 12
	if len(all) > most {
		return strings.Join(all[:most], "; ") + fmt.Sprintf("; and %d more", len(all)-most)
	}
	return strings.Join(all, "; ")
}

package calibrate

import (
	"fmt"
	"slices"
	"strings"

	"fabricpot/control/garden"
)

// Answer is how one probe's water changed while a line was open and soon after.
type Answer struct {
	Probe garden.ProbeID
	// Watered tells that the line that was opened waters the probe's zone.
	Watered bool
	// Change is in m³/m³, Noise the scatter of its readings before.
	Change, Noise float64
}

// Wiring is what the answers say of the plugs.
type Wiring struct {
	// Silent are probes on the line that did not answer, Strange are probes off
	// it that did.
	Silent, Strange []garden.ProbeID
}

// answers is the change that water reaching a probe makes at least.
const answers = 0.015

// Moved compares who should have answered to the line with who did.
func Moved(as []Answer) Wiring {
	var w Wiring
	for _, a := range as {
		rose := garden.Finite(a.Change) && a.Change > max(answers, 4*a.Noise)
		switch {
		case a.Watered && !rose:
			w.Silent = append(w.Silent, a.Probe)
		case !a.Watered && rose:
			w.Strange = append(w.Strange, a.Probe)
		}
	}
	slices.Sort(w.Silent)
	slices.Sort(w.Strange)
	return w
}

// Swapped reports whether probes seem to have changed places: some on the line
// stayed still while some elsewhere answered.
func (w Wiring) Swapped() bool { return len(w.Silent) > 0 && len(w.Strange) > 0 }

func (w Wiring) String() string {
	join := func(ids []garden.ProbeID) string {
		var s []string
		for _, id := range ids {
			s = append(s, string(id))
		}
		return strings.Join(s, ", ")
	}
	switch {
	case w.Swapped():
		return fmt.Sprintf("%s did not answer to their line while %s, elsewhere, did: are their plugs swapped?", join(w.Silent), join(w.Strange))
	case len(w.Silent) > 0:
		return fmt.Sprintf("%s did not answer: too little water to reach them, or the emitters drip elsewhere", join(w.Silent))
	case len(w.Strange) > 0:
		return fmt.Sprintf("%s answered to a line that does not water them: another line is open, or it waters more than the garden file says", join(w.Strange))
	}
	return "every probe answered to its line and no other did"
}

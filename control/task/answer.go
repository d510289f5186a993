package task

import (
	"fmt"
	"slices"
	"sort"
	"strings"
	"time"

	"fabricpot/control/feed"
	"fabricpot/control/garden"
)

// Observation is what a gardener reports about a zone.
type Observation struct {
	Zone garden.ZoneID
	// Name is the pot as the gardener calls it.
	Name string
	Sign Sign
	// Text is free, Photo a file's name.
	Text, Photo string
	At          time.Time
}

// Answer is what the gateway says to an observation.
type Answer struct {
	Sign  Sign   `json:"sign"`
	Words string `json:"words"`
	// Causes come in the order to check them: those that the pot's own records
	// speak for first, those they speak against last, and within each as a
	// grower goes about it.
	Causes []Cause `json:"causes"`
	// First is what to do first, LeaveAlone what not to do.
	First      []string `json:"first"`
	LeaveAlone []string `json:"leave_alone"`
	// Recover tells that a recovery plan fits.
	Recover bool `json:"recover"`
	// LookAgain is the task to look again in 3 to 5 days; nil for all-well.
	LookAgain *Task  `json:"look_again,omitempty"`
	Caveat    string `json:"caveat"`
}

const caveat = "Likely causes from a pattern and this pot's records, not a diagnosis. For sprays and other chemicals follow the label and local advice."

// Days until a plant is looked at again.
const (
	lookFromDays = 3
	lookToDays   = 5
)

// maxText bounds free text.
const maxText = 2000

// Respond answers an observation from the zone's own records.
func Respond(o Observation, f Facts) (Answer, error) {
	i := slices.IndexFunc(Signs(), func(s SignInfo) bool { return s.Sign == o.Sign })
	if i < 0 {
		_, err := ParseSign(string(o.Sign))
		return Answer{}, err
	}
	if len(o.Text) > maxText {
		return Answer{}, fmt.Errorf("task: note of %d characters, expected at most %d", len(o.Text), maxText)
	}
	a := Answer{Sign: o.Sign, Words: Signs()[i].Words, Caveat: caveat, First: []string{}, LeaveAlone: []string{}, Causes: []Cause{}}
	if o.Sign == AllWell {
		return a, nil
	}
	a.Causes = candidates(o.Sign, f)
	less, both := a.unlikelier(f)
	place := func(c *Cause) int {
		if both && c.kind == less {
			return 2*rank(c.support) + 1
		}
		return 2 * rank(c.support)
	}
	sort.SliceStable(a.Causes, func(i, j int) bool { return place(&a.Causes[i]) < place(&a.Causes[j]) })
	a.advise(f)
	a.LookAgain = lookAgain(o, a)
	return a, nil
}

// rank orders causes by what the records say.
func rank(s Support) int {
	switch s {
	case For:
		return 0
	case NotKnown:
		return 1
	}
	return 2
}

// sure tells that the records speak for a cause of that kind.
func (a *Answer) sure(k causeKind) bool {
	return slices.ContainsFunc(a.Causes, func(c Cause) bool { return c.kind == k && c.support == For })
}

// unlikelier is which of wet and dry is not so where the records speak for both: a pot may
// have been both in a week, and as it stands now is likelier. ok is false where they don't.
func (a *Answer) unlikelier(f Facts) (k causeKind, ok bool) {
	if f.ratherDry() {
		return wetCause, a.sure(wetCause) && a.sure(dryCause)
	}
	return dryCause, a.sure(wetCause) && a.sure(dryCause)
}

// advise says what to do first, from the causes that the records do not speak
// against. Feed comes in only where neither wet roots, heat, cold, salt nor a
// leaf disease stand against it.
func (a *Answer) advise(f Facts) {
	first := func(s string) { a.First = appendNew(a.First, s) }
	leave := func(s string) { a.LeaveAlone = appendNew(a.LeaveAlone, s) }
	barred := feedBar(f)
	// Of wet and dry one is acted on, and nothing told that pours where watering is to stop.
	less, both := a.unlikelier(f)
	dry := a.sure(dryCause) && !(both && less == dryCause)
	stop := a.sure(wetCause) && !(both && less == wetCause)
	leaf := slices.ContainsFunc(a.Causes, func(c Cause) bool { return c.kind == leafCause && c.support != Against && a.Sign != Limp })
	for _, c := range a.Causes {
		if c.support == Against {
			continue
		}
		sure := c.support == For
		switch c.kind {
		case wetCause:
			if stop {
				first("stop watering until the pot is down to its refill point; free the drain")
				leave("no water and no feed on a full pot, even if leaves hang")
			} else if !sure && a.Sign == Limp {
				first("before anything else find out whether the pot is wet or dry: lift it, or read the probe")
			}
		case dryCause, unevenCause:
			if dry || sure && c.kind == unevenCause {
				first("soak it slowly, in several goes, until the first water shows below")
			}
		case hotCause:
			if sure && stop {
				first("shade the pot's side; no feed in the heat")
			} else if sure {
				first("shade the pot's side and water in the morning; no feed in the heat")
			}
		case coldCause:
			if sure {
				leave("no feed until the mix is over 12 °C: cold roots don't take it up")
			}
		case saltCause:
			if sure {
				if stop {
					first("once it is down to its refill point, flush with plain water and measure what drains")
				} else {
					first("flush with plain water and measure what drains")
				}
				leave("no feed until drainage is down")
			} else if c.support == NotKnown && (a.Sign == BrownEdgesLower || a.Sign == WhiteCrust) {
				first("catch what drains and measure its EC before you feed")
			}
		case hungerCause:
			if barred == "" && !leaf && (sure || c.support == NotKnown && len(a.First) == 0) {
				if sure {
					first("give the feed that is due, no stronger than planned, after a soak if the mix is dry")
					a.Recover = true
				} else {
					first("look up when it was fed last; if that is more than three weeks ago, give one modest feed")
				}
			}
		case overfedCause:
			if sure {
				leave("leave out the next feed")
			}
		case traceCause:
			leave("no extra N-P-K for this: more of it does not help")
		case leafCause:
			if leaf {
				first("take off the marked leaves and put them in the household waste; wash hands and blade before the next plant")
				first("wet the mix, not the leaves, and give the plant air")
				leave("don't feed for spots: food does not cure them")
			}
		case drainCause:
			if stop {
				first("loosen the surface and free the drain")
			} else {
				first("loosen the surface, free the drain, and water in small sips")
			}
		}
	}
	if barred != "" {
		leave(barred)
	}
	if len(a.First) == 0 {
		first("change nothing yet; check the causes above in their order")
	}
	leave("one change at a time, so that you see what helped")
	if a.Sign == PaleLowerLeaves || a.Sign == PaleNewLeaves {
		leave("old leaves don't turn green again: judge by the new ones, and prune later")
	}
}

// feedBar says why this pot may not be fed now; empty if it may.
func feedBar(f Facts) string {
	switch {
	case f.Water.Known && f.Capacity.Known && f.Water.Value >= f.Capacity.Value:
		return "no feed now: the pot is full of water"
	case f.SaturatedHours.Known && f.SaturatedHours.Value > wetHours:
		return "no feed before the pot has dried down to its refill point"
	case f.HottestC.Known && f.HottestC.Value > feed.HottestC:
		return "no feed while the mix passes 35 °C"
	case f.ColdestC.Known && f.ColdestC.Value < feed.ColdestC:
		return "no feed while the mix is under 12 °C"
	case f.salty().support == For:
		return "no feed while drainage reads high: leach first"
	}
	return ""
}

func appendNew(list []string, s string) []string {
	if slices.Contains(list, s) {
		return list
	}
	return append(list, s)
}

// lookAgain is the task to come back to what was seen.
func lookAgain(o Observation, a Answer) *Task {
	seen := []string{a.Words}
	if t := strings.TrimSpace(o.Text); t != "" {
		seen = append(seen, t)
	}
	if o.Photo != "" {
		seen = append(seen, "photo "+o.Photo)
	}
	day := 24 * time.Hour
	return &Task{
		ID:   fmt.Sprintf("look-%s-%s-%s", o.Zone, o.Sign, o.At.Format("20060102")),
		Kind: Look, Zone: o.Zone, Title: "Look again at " + o.Name, Seen: seen,
		Why: fmt.Sprintf("on %s you saw: %s", o.At.Format("2 January"), a.Words),
		Steps: []string{
			"Look at the newest leaves first: they show whether it got better. Old ones stay as they are.",
			"Is it the same leaves as before, more of them, or further up? Count them.",
			"Note what you see, also if nothing changed. If it is worse, ask an adviser before you do more.",
		},
		Opened: o.At, Due: o.At.Add(lookFromDays * day), Until: o.At.Add(lookToDays * day),
	}
}

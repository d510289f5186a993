package task

import (
	"fmt"
	"time"

	"fabricpot/control/garden"
)

// RecoveryInput is what a plan for a neglected plant is written from.
type RecoveryInput struct {
	Zone    garden.ZoneID
	Name    string
	Start   time.Time
	VolumeL float64
	// SoakL fills the pot up; 0 where it needs none.
	SoakL   float64
	HoseLPM garden.Measured
	Facts   Facts
}

// PlanStep is one step of a recovery. Feeds are not tasks of the plan: AskFeed
// steps ask the feeding sequence, whose gap and cap hold here as anywhere.
type PlanStep struct {
	Day     int    `json:"day"`
	ToDay   int    `json:"to_day"`
	Words   string `json:"words"`
	AskFeed bool   `json:"ask_feed,omitempty"`
	// Task is the work of the step, nil for feeds.
	Task *Task `json:"task,omitempty"`
}

// Recovery is a plan and not one feed: soak, a modest feed, a look at the new
// growth after 3 to 5 days, a second feed only if it is due, pruning last. A
// pot that may not be fed now gets the step that has to come first instead.
func Recovery(in RecoveryInput) ([]PlanStep, error) {
	day := 24 * time.Hour
	var out []PlanStep
	if in.SoakL > 0 {
		w, err := NewWater(WaterInput{Zone: in.Zone, Name: in.Name, Day: in.Start, Litres: in.SoakL, VolumeL: in.VolumeL, HoseLPM: in.HoseLPM, Why: "recovery begins with water: dry roots can't feed"})
		if err != nil {
			return nil, err
		}
		out = append(out, PlanStep{Words: "soak it slowly until the first water shows below", Task: &w})
	}
	if bar := feedBar(in.Facts); bar != "" {
		out = append(out, PlanStep{ToDay: lookFromDays, Words: bar + "; the feed comes when that has passed"})
	}
	out = append(out, PlanStep{ToDay: 1, AskFeed: true, Words: "one modest feed after the soak, no stronger for being late"})
	look := &Task{
		ID:   fmt.Sprintf("look-%s-recovery-%s", in.Zone, in.Start.Format("20060102")),
		Kind: Look, Zone: in.Zone, Title: "Look at the new growth of " + in.Name,
		Why:    fmt.Sprintf("recovery since %s", in.Start.Format("2 January")),
		Steps:  []string{"Is the newest growth greener than the leaves below it? Then it works: go on as planned.", "If not, note what you see before you do more. Old leaves never turn green again."},
		Opened: in.Start, Due: in.Start.Add(lookFromDays * day), Until: in.Start.Add(lookToDays * day),
	}
	prune := &Task{
		ID:   fmt.Sprintf("prune-%s-recovery-%s", in.Zone, in.Start.Format("20060102")),
		Kind: Prune, Zone: in.Zone, Title: "Prune " + in.Name,
		Why:    "once new growth carries the plant, the yellow leaves can go",
		Steps:  []string{"Take off yellow leaves from below, a few at a time, with a clean blade. Leave every leaf that is still green."},
		Opened: in.Start, Due: in.Start.Add(14 * day), Until: in.Start.Add(21 * day),
	}
	return append(out,
		PlanStep{Day: lookFromDays, ToDay: lookToDays, Words: "look at the newest growth; old leaves never green again", Task: look},
		PlanStep{Day: lookToDays, ToDay: 10, AskFeed: true, Words: "a second feed, if it is due by then"},
		PlanStep{Day: 14, ToDay: 21, Words: "prune what stayed yellow", Task: prune},
	), nil
}

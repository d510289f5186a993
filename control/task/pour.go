package task

import (
	"fmt"
	"math"
	"time"

	"fabricpot/control/feed"
	"fabricpot/control/garden"
)

// FeedInput is what a feeding task is written from.
type FeedInput struct {
	Zone garden.ZoneID
	// Name is the pot as the gardener calls it.
	Name   string
	Feed   garden.FeedID
	Recipe feed.Recipe
	Why    string
	Opened time.Time
	// VolumeL is the zone's mix.
	VolumeL float64
	// Dry is set where a reading says that the mix has to be moistened first;
	// Known false means that the gardener has to feel it.
	Dry, DryKnown bool
	// RoomL is how much the pot takes before it drains, where that is known.
	RoomL garden.Measured
	// CatchUp keeps a last part of the same feed until after the soak.
	CatchUp bool
	// HoseLPM is the hose as the gardener measured it; CanL their can, 0 for
	// the usual 10 L.
	HoseLPM garden.Measured
	CanL    float64
}

const (
	usualCanL = 10
	// moistenShare of the mix's volume moistens a dry surface; pourShare is
	// what one go gives without running through. Judgement.
	moistenShare = 0.02
	pourShare    = 0.03
	closingShare = 0.2
)

// NewFeed writes a feeding task. It refuses a recipe that is over the limits or
// no amount.
func NewFeed(in FeedInput) (Task, error) {
	if err := feed.CheckRecipe(in.Recipe); err != nil {
		return Task{}, fmt.Errorf("task: feed for %q: %w", in.Zone, err)
	}
	if err := feed.CheckDose(in.Recipe.Litres, in.VolumeL); err != nil {
		return Task{}, fmt.Errorf("task: feed for %q: %w", in.Zone, err)
	}
	if len(in.Recipe.Ingredients) == 0 {
		return Task{}, fmt.Errorf("task: feed for %q: nothing to mix, expected at least one product", in.Zone)
	}
	l := in.Recipe.Litres
	t := Task{
		ID: fmt.Sprintf("feed-%s-%d", in.Zone, in.Feed), Kind: Feed, Zone: in.Zone,
		Title: fmt.Sprintf("Feed %s: %s", in.Name, litres(l)), Why: in.Why,
		Mix: in.Recipe.Ingredients, Litres: l, Opened: in.Opened, Due: in.Opened, Until: in.Opened.Add(Feed.patience()),
		Cautions: feedCautions(true),
	}
	wet := withHose(moistenShare*in.VolumeL, in.HoseLPM)
	switch {
	case in.Dry:
		t.step("The mix is dry: first give %s of plain water, slowly, and wait 30 minutes.", wet)
	case !in.DryKnown:
		t.step("Push a finger in up to the second joint. If it is dry there, first give %s of plain water, slowly, and wait 30 minutes. If it is soaking, leave the feed for another day and say so.", wet)
	}
	t.mix(in)
	first := l
	if in.CatchUp {
		first = (1 - closingShare) * l
	}
	if goes := int(math.Ceil(first/(pourShare*in.VolumeL) - 1e-9)); goes > 1 {
		t.step("Pour %s around the base of the stems, not over leaves, in %d goes of %s with 20 minutes between. Stop if it runs out below.", litres(first), goes, litres(first/float64(goes)))
	} else {
		t.step("Pour %s slowly around the base of the stems, not over leaves. Stop if it runs out below.", litres(first))
	}
	t.soak(in, first)
	if in.CatchUp {
		t.step("Wait another hour and pour the last %s of the same mix at the base. That is the end: what was missed is not given on top.", litres(l-first))
	}
	t.step("Say that it is done, with the litres that you gave. Look at the new leaves in 3 to 5 days.")
	return t, nil
}

func (t *Task) step(format string, a ...any) { t.Steps = append(t.Steps, fmt.Sprintf(format, a...)) }

// mix writes the weighing, in canfuls where the can is too small for all of it.
func (t *Task) mix(in FeedInput) {
	can := in.CanL
	if !garden.Finite(can) || can <= 0 {
		can = usualCanL
	}
	l := in.Recipe.Litres
	cans := max(1, int(math.Ceil(l/can-1e-9)))
	words := make([]string, 0, len(in.Recipe.Ingredients))
	for _, i := range in.Recipe.Ingredients {
		i.Grams /= float64(cans)
		if i.ML != nil {
			ml := *i.ML / float64(cans)
			i.ML = &ml
		}
		words = append(words, amount(i))
	}
	if cans == 1 {
		t.step("Fill the can with %s of water and stir in %s until nothing is left on the bottom.", litres(l), list(words))
	} else {
		t.step("Make %d canfuls, each of %s of water with %s stirred in until nothing is left on the bottom.", cans, litres(l/float64(cans)), list(words))
	}
	if in.Recipe.ECmS.Known {
		t.step("If you have an EC meter: the mix should show about %.1f mS/cm. Well over that, add water to a fresh can and measure again.", in.Recipe.ECmS.Value)
	}
}

// soak writes the water that carries the feed down, if the pot has room for it.
func (t *Task) soak(in FeedInput, first float64) {
	water := first
	if in.RoomL.Known {
		water = min(water, 0.8*(in.RoomL.Value-in.Recipe.Litres))
	}
	if water < 0.05*in.Recipe.Litres {
		t.step("Give no more water today: the pot has no room for it. The next watering carries the feed down.")
		return
	}
	t.HoseSeconds = hoseSeconds(water, in.HoseLPM)
	t.step("Wait an hour, then give up to %s of plain water slowly to carry it down. Stop as soon as the first water shows below: what runs out is feed lost.", withHose(water, in.HoseLPM))
}

// WaterInput is what a watering task is written from.
type WaterInput struct {
	Zone garden.ZoneID
	Name string
	// Day makes the task's name: one watering task a day and zone. More water
	// the same day changes that task's litres.
	Day     time.Time
	Litres  float64
	VolumeL float64
	Why     string
	// HoursLeft is how long until the plant is in want, where it is known.
	HoursLeft garden.Measured
	HoseLPM   garden.Measured
	// Leach is for Flush: water meant to run out below.
	Leach bool
}

// NewWater writes a task of plain water for a zone that a person tends: to fill
// it up, or with Leach to wash salts out of it.
func NewWater(in WaterInput) (Task, error) {
	if !garden.Finite(in.VolumeL) || in.VolumeL <= 0 {
		return Task{}, fmt.Errorf("task: water for %q: zone of %v L, expected more than 0", in.Zone, in.VolumeL)
	}
	if !garden.Finite(in.Litres) || in.Litres <= 0 || in.Litres > 3*in.VolumeL {
		return Task{}, fmt.Errorf("task: water for %q: %v L, expected more than 0 up to three times the pot's %.0f L", in.Zone, in.Litres, in.VolumeL)
	}
	kind, verb := Water, "Water"
	if in.Leach {
		kind, verb = Flush, "Flush"
	}
	t := Task{
		ID:   fmt.Sprintf("%s-%s-%s", kind, in.Zone, in.Day.Format("20060102")),
		Kind: kind, Zone: in.Zone, Title: fmt.Sprintf("%s %s: %s", verb, in.Name, litres(in.Litres)), Why: in.Why,
		Litres: in.Litres, HoseSeconds: hoseSeconds(in.Litres, in.HoseLPM), Opened: in.Day, Due: in.Day,
	}
	wait := kind.patience()
	if in.HoursLeft.Known && kind == Water {
		h := min(max(in.HoursLeft.Value, 1), wait.Hours())
		wait = time.Duration(h * float64(time.Hour))
	}
	t.Until = t.Due.Add(wait)
	goes := max(1, int(math.Ceil(in.Litres/(2*pourShare*in.VolumeL)-1e-9)))
	each := in.Litres / float64(goes)
	if goes == 1 {
		t.step("Give %s of plain water slowly, all around the pot.", withHose(in.Litres, in.HoseLPM))
	} else {
		t.step("Give %s of plain water slowly, all around the pot, in %d goes of %s with 15 minutes between.", litres(in.Litres), goes, withHose(each, in.HoseLPM))
	}
	if in.Leach {
		t.step("Let it run out below and away from other pots: it carries the salts. Give no feed today.")
		t.step("If you have an EC meter, catch a cupful of the last water that runs out and enter what it shows.")
	} else {
		t.step("Stop early if water runs out below. If it does so after the first litre, the mix is so dry that water runs past it: give the rest in small sips over an hour.")
	}
	if t.HoseSeconds == 0 {
		t.step("Measure your hose once (how many seconds for a bucket of 10 L) and the next task tells how long to hold it.")
	}
	t.step("Say that it is done, with the litres that you gave.")
	return t, nil
}

// NewMeasure writes the task of measuring the hose.
func NewMeasure(opened time.Time) Task {
	return Task{
		ID: "measure-hose", Kind: Measure, Title: "Measure your hose", Why: "tasks can then tell how long to hold it",
		Steps: []string{
			"Open the tap as far as you do when you water, and count the seconds until a bucket is full whose size you know.",
			"What it gives a minute is the bucket's size divided by those seconds, times 60.",
			"Write it into the garden file as hose, on a line of its own that is not indented, such as: hose: 12 L/min. Then have the file read again: gateway reload.",
			"Measure again when you change the hose or the nozzle.",
		},
		Opened: opened, Due: opened, Until: opened.Add(Measure.patience()),
	}
}

package task

import (
	"fmt"
	"strings"
	"time"

	"fabricpot/control/garden"
)

// Question is one thing that the weekly round asks, for what eyes see and
// probes can't.
type Question struct {
	ID  string `json:"id"`
	Ask string `json:"ask"`
	// Choices are the answers; empty means a number or a file's name.
	Choices []Choice `json:"choices,omitempty"`
}

// Choice is one answer and the observation it makes, empty for none.
type Choice struct {
	Word string `json:"word"`
	Sign Sign   `json:"sign,omitempty"`
}

// Questions are the round's, short enough for two minutes over a terrace.
func Questions() []Question {
	return []Question{
		{AskNewGrowth, "What colour is the newest growth?", []Choice{{greenWord, ""}, {"pale all over", PaleNewLeaves}, {"yellow between green veins", GreenVeinsNew}, {"none since last week", SlowGrowth}}},
		{AskLowerLeaves, "And the lowest leaves?", []Choice{{greenWord, ""}, {"pale, veins too", PaleLowerLeaves}, {"yellow between green veins", GreenVeinsLower}, {"brown edges", BrownEdgesLower}, {"purple below", PurpleUndersides}}},
		{AskLowerCount, "How many of them?", nil},
		{AskLowerHeight, "How high up does it go, as a part of the plant (0 to 1)?", nil},
		{AskSpots, "Any spots?", []Choice{{noneWord, ""}, {"with rings", RingedSpots}, {"many small ones", ManySmallSpots}, {"wet-looking blotches", WetBlotches}}},
		{AskFruit, "How is the fruit?", []Choice{{"none yet", ""}, {"good", ""}, {"sunken brown end", SunkenFruitEnd}}},
		{AskDrainage, "Did water come out below after the last watering?", []Choice{{"a little", ""}, {noneWord, ""}, {throughWord, RunsStraightThrough}, {standsWord, NoDrainage}}},
		{AskPhoto, "A photo's file name, if you took one", nil},
	}
}

// RoundEvery is how often the round comes.
const RoundEvery = 7 * 24 * time.Hour

// Stop is a zone on the round.
type Stop struct {
	Zone garden.ZoneID
	Name string
}

// NewRound writes the week's round over the zones in the order they stand in.
// Its name is the week's, so that one week has one round.
func NewRound(opened time.Time, stops []Stop) (Task, error) {
	if len(stops) == 0 {
		return Task{}, fmt.Errorf("task: round: no zones, expected at least one with plants")
	}
	year, week := opened.ISOWeek()
	names := make([]string, 0, len(stops))
	for _, s := range stops {
		names = append(names, s.Name)
	}
	t := Task{
		ID: fmt.Sprintf("round-%d-w%02d", year, week), Kind: Round, Title: "Two-minute round",
		Why:    "eyes see what probes can't",
		Opened: opened, Due: opened, Until: opened.Add(RoundEvery),
	}
	t.step("Walk past %s in this order.", strings.Join(names, ", "))
	for _, q := range Questions() {
		t.Steps = append(t.Steps, q.Ask)
	}
	return t, nil
}

// RoundDue reports whether a week has gone since the last round; a zero last
// means that there was none.
func RoundDue(now, last time.Time) bool { return last.IsZero() || now.Sub(last) >= RoundEvery }

// choose finds the choice that an answer names.
func (q Question) choose(given string) (Choice, error) {
	words := make([]string, 0, len(q.Choices))
	for _, c := range q.Choices {
		if strings.EqualFold(strings.TrimSpace(given), c.Word) {
			return c, nil
		}
		words = append(words, c.Word)
	}
	return Choice{}, fmt.Errorf("task: round: %q is no answer to %q, expected one of: %s", given, q.ID, strings.Join(words, ", "))
}

package task

import (
	"fmt"
	"math"
	"strings"
	"time"

	"fabricpot/control/feed"
	"fabricpot/control/garden"
)

// Kind is what sort of work a task is.
type Kind string

const (
	// Feed: mix and pour a feed.
	Feed Kind = "feed"
	// Water: give plain water.
	Water Kind = "water"
	// Flush: wash salts out with plain water.
	Flush Kind = "flush"
	// Round: the weekly two minutes.
	Round Kind = "round"
	// Look: look again at something that was seen.
	Look Kind = "look"
	// Prune: take off what will not recover.
	Prune Kind = "prune"
	// Measure: measure the hose.
	Measure Kind = "measure"
)

// patience is after how long past its due time an undone task counts as late.
// Judgement: a pot empties in a day, a feed can wait a few.
func (k Kind) patience() time.Duration {
	switch k {
	case Water:
		return 12 * time.Hour
	case Look, Flush:
		return 48 * time.Hour
	case Feed:
		return 72 * time.Hour
	}
	return 7 * 24 * time.Hour
}

// Task is one piece of work, in words that need no explaining.
type Task struct {
	// ID names it for good: the same work never gets two names, nor two works
	// the same.
	ID    string        `json:"id"`
	Kind  Kind          `json:"kind"`
	Zone  garden.ZoneID `json:"zone,omitempty"`
	Title string        `json:"title"`
	Why   string        `json:"why"`
	Steps []string      `json:"steps"`
	// Mix is what goes into the can, for feeds.
	Mix []feed.Ingredient `json:"mix,omitempty"`
	// Litres is the amount to pour, 0 where nothing is poured.
	Litres float64 `json:"litres,omitempty"`
	// HoseSeconds is how long to hold the hose for the plain water in it, 0
	// where the hose was not measured or none is needed.
	HoseSeconds float64   `json:"hose_seconds,omitempty"`
	Opened      time.Time `json:"opened"`
	// Due is when it should be done, Until when it must.
	Due      time.Time `json:"due"`
	Until    time.Time `json:"until"`
	Cautions []string  `json:"cautions,omitempty"`
	// Seen is, for Look, what was seen when it was opened.
	Seen []string `json:"seen,omitempty"`
}

// Urgency is how pressing a task is.
type Urgency uint8

const (
	// Ahead: not due yet.
	Ahead Urgency = iota
	// DueNow: due, and in good time.
	DueNow
	// LateNow: past the time it should have been done by.
	LateNow
	// Pressing: late more than twice over.
	Pressing
)

func (u Urgency) String() string {
	switch u {
	case DueNow:
		return "due"
	case LateNow:
		return "late"
	case Pressing:
		return "pressing"
	}
	return "ahead"
}

// Score orders tasks by how pressing they are at a time: 0 when due, 1 when
// late, 2 and more when pressing, negative before. For an open task it only
// rises with time.
func (t Task) Score(now time.Time) float64 {
	wait := t.Until.Sub(t.Due)
	if wait <= 0 {
		wait = t.Kind.patience()
	}
	return float64(now.Sub(t.Due)) / float64(wait)
}

// Urgency is Score in words.
func (t Task) Urgency(now time.Time) Urgency {
	switch s := t.Score(now); {
	case s < 0:
		return Ahead
	case s < 1:
		return DueNow
	case s < 2:
		return LateNow
	}
	return Pressing
}

// litres writes an amount as one would measure it with a can.
func litres(l float64) string {
	switch {
	case l < 0.995:
		return fmt.Sprintf("%.0f mL", 10*math.Round(l*100))
	case l < 9.95:
		return fmt.Sprintf("%.1f L", l)
	}
	return fmt.Sprintf("%.0f L", l)
}

// amount writes a mass as one would weigh it on a kitchen scale.
func amount(in feed.Ingredient) string {
	g := fmt.Sprintf("%.0f g", in.Grams)
	if in.Grams < 10 {
		g = fmt.Sprintf("%.1f g", in.Grams)
	}
	if in.ML != nil {
		ml := fmt.Sprintf("%.0f mL", *in.ML)
		if *in.ML < 10 {
			ml = fmt.Sprintf("%.1f mL", *in.ML)
		}
		return fmt.Sprintf("%s (%s) of %s", ml, g, in.Name)
	}
	return g + " of " + in.Name
}

// hold writes how long the hose runs.
func hold(seconds float64) string {
	s := int(math.Round(seconds))
	if s < 90 {
		return fmt.Sprintf("%d seconds", s)
	}
	if s%60 == 0 {
		return fmt.Sprintf("%d minutes", s/60)
	}
	return fmt.Sprintf("%d minutes %d seconds", s/60, s%60)
}

// hoseSeconds is how long a hose of lpm (L/min, as the gardener measured it)
// runs for that many litres; 0 where it was not measured.
func hoseSeconds(l float64, lpm garden.Measured) float64 {
	if !lpm.Known || lpm.Value <= 0 || !garden.Finite(l) || l <= 0 {
		return 0
	}
	return 60 * l / lpm.Value
}

// withHose adds the time of the hose to an amount of plain water.
func withHose(l float64, lpm garden.Measured) string {
	if s := hoseSeconds(l, lpm); s > 0 {
		return fmt.Sprintf("%s (hold the hose for %s)", litres(l), hold(s))
	}
	return litres(l)
}

func list(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " and " + words[len(words)-1]
}

// feedCautions go with every task in which products are handled: the usual ones
// of the trade. The label and local rules come first.
func feedCautions(hose bool) []string {
	out := []string{
		"Read the product's label first and follow it where it says otherwise.",
		"Wear gloves and eye protection when you weigh and mix.",
		"Keep products and the mixed feed out of the reach of children and animals.",
	}
	if hose {
		out = append(out, "Never hang a hose into the mix: keep an air gap, or the backflow device your local code asks for, between feed and drinking water.")
	}
	return out
}

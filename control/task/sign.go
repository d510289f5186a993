package task

import (
	"fmt"
	"strings"
)

// Sign is something that eyes see on a plant: the fixed vocabulary of
// observations. Free text goes beside it, never instead.
type Sign string

const (
	AllWell             Sign = "all-well"
	PaleLowerLeaves     Sign = "pale-lower-leaves"
	PaleNewLeaves       Sign = "pale-new-leaves"
	GreenVeinsNew       Sign = "green-veins-on-pale-new-leaves"
	GreenVeinsLower     Sign = "green-veins-on-pale-lower-leaves"
	BrownEdgesLower     Sign = "brown-edges-lower-leaves"
	RingedSpots         Sign = "ringed-spots"
	ManySmallSpots      Sign = "many-small-spots"
	WetBlotches         Sign = "wet-looking-blotches"
	PurpleUndersides    Sign = "purple-undersides"
	Limp                Sign = "limp"
	SunkenFruitEnd      Sign = "sunken-fruit-end"
	WhiteCrust          Sign = "white-crust"
	SlowGrowth          Sign = "slow-growth"
	NoDrainage          Sign = "water-stands-on-top"
	RunsStraightThrough Sign = "water-runs-straight-through"
)

// SignInfo is a sign and what it means in a sentence.
type SignInfo struct {
	Sign  Sign   `json:"sign"`
	Words string `json:"words"`
}

// Signs lists the vocabulary.
func Signs() []SignInfo {
	return []SignInfo{
		{AllWell, "nothing to remark"},
		{PaleLowerLeaves, "the oldest, lowest leaves are evenly pale or yellow, veins too"},
		{PaleNewLeaves, "the youngest leaves are evenly pale, veins too"},
		{GreenVeinsNew, "the youngest leaves are yellow between veins that stay green"},
		{GreenVeinsLower, "the lower leaves are yellow between veins that stay green"},
		{BrownEdgesLower, "the edges of the lower leaves are brown and dry"},
		{RingedSpots, "brown spots with rings in them, often a yellow rim, lower leaves first"},
		{ManySmallSpots, "many small spots, pale in the middle with a dark rim"},
		{WetBlotches, "blotches that look soaked with water, no rings"},
		{PurpleUndersides, "leaf undersides are purple and the plant stays small"},
		{Limp, "leaves hang"},
		{SunkenFruitEnd, "the far end of the fruit is sunken and brown"},
		{WhiteCrust, "a white crust on the fabric or the mix"},
		{SlowGrowth, "hardly any growth since the last look"},
		{NoDrainage, "water stands on top for minutes"},
		{RunsStraightThrough, "water comes out below almost at once"},
	}
}

// ParseSign reads a sign, forgiving capitals, spaces and underscores. For an
// unknown one the error names the nearest.
func ParseSign(s string) (Sign, error) {
	if len(s) > 80 {
		return "", fmt.Errorf("task: observation of %d characters, expected one of the list; free text goes beside it", len(s))
	}
	key := strings.NewReplacer(" ", "-", "_", "-").Replace(strings.ToLower(strings.TrimSpace(s)))
	best, words := 0, ""
	for _, i := range Signs() {
		if string(i.Sign) == key {
			return i.Sign, nil
		}
		var n int
		for _, w := range strings.Split(key, "-") {
			if len(w) > 2 && strings.Contains(string(i.Sign), w) {
				n++
			}
		}
		if n > best {
			best, words = n, string(i.Sign)
		}
	}
	if words != "" {
		return "", fmt.Errorf("task: observation %q is not in the list; did you mean %q", s, words)
	}
	return "", fmt.Errorf("task: observation %q is not in the list, expected one such as %q", s, PaleLowerLeaves)
}

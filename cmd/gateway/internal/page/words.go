package page

import (
	"regexp"
	"strconv"

	"fabricpot/cmd/gateway/internal/units"
)

// measured finds litres, flows and temperatures in the words of the controller,
// the journal and the gardener's list, which think in litres and °C.
var measured = regexp.MustCompile(`(-?\d+(?:\.\d+)?)[ \x{00a0}](L/h|L\b|°C)`)

// words writes such a sentence as this browser reads it.
func (p prefs) words(text string) string {
	if !p.gallons && !p.fahrenheit {
		return text
	}
	return measured.ReplaceAllStringFunc(text, func(s string) string {
		m := measured.FindStringSubmatch(s)
		x, err := strconv.ParseFloat(m[1], 64)
		if err != nil {
			return s
		}
		switch {
		case m[2] == "°C" && p.fahrenheit:
			return units.Temperature().Format(x, "°F", 0)
		case m[2] == "L" && p.gallons:
			return units.Volume().Format(x, "gal", digits(x/3.8))
		case m[2] == "L/h" && p.gallons:
			return units.Flow().Format(x, "gal/h", digits(x/3.8))
		}
		return s
	})
}

// eachWords is words of several sentences.
func (p prefs) eachWords(texts []string) []string {
	out := make([]string, len(texts))
	for i, t := range texts {
		out[i] = p.words(t)
	}
	return out
}

// digits is how many decimals a figure of that size is told with.
func digits(x float64) int {
	switch {
	case x >= 20 || x <= -20:
		return 0
	case x >= 1 || x <= -1:
		return 1
	}
	return 2
}

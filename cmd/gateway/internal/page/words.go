package page

import "fabricpot/cmd/gateway/internal/units"

// words writes a sentence of the controller, the journal or the gardener's list, which
// think in litres and °C, as this browser reads it.
func (p prefs) words(text string) string {
	return units.Reads{Gallons: p.gallons, Fahrenheit: p.fahrenheit}.Words(text)
}

// eachWords is words of several sentences.
func (p prefs) eachWords(texts []string) []string {
	out := make([]string, len(texts))
	for i, t := range texts {
		out[i] = p.words(t)
	}
	return out
}

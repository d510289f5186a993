package config

import "strings"

// nearest returns the known word that text most likely was meant to be, or ""
// where none is near: at most a third of its letters off.
func nearest(text string, known []string) string {
	if len(text) > 48 {
		return ""
	}
	best, least := "", 1<<30
	for _, k := range known {
		limit := max(1, max(len(k), len(text))/3)
		d := distance(text, k)
		if len(text) >= 4 && strings.HasPrefix(k, text) {
			d = min(d, limit) // a word cut short
		}
		if d <= limit && d < least {
			best, least = k, d
		}
	}
	return best
}

// distance is the optimal string alignment distance: insertions, deletions,
// substitutions and swaps of neighbours, one each.
func distance(a, b string) int {
	ra, rb := []rune(a), []rune(b)
	before, above := make([]int, len(rb)+1), make([]int, len(rb)+1)
	for j := range above {
		above[j] = j
	}
	for i := 1; i <= len(ra); i++ {
		row := make([]int, len(rb)+1)
		row[0] = i
		for j := 1; j <= len(rb); j++ {
			cost := 1
			if ra[i-1] == rb[j-1] {
				cost = 0
			}
			row[j] = min(above[j]+1, row[j-1]+1, above[j-1]+cost)
			if i > 1 && j > 1 && ra[i-1] == rb[j-2] && ra[i-2] == rb[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, above = above, row
	}
	return above[len(rb)]
}

// Package report makes of a journal what a season came to: per pot the curve,
// water and feed totals, what was lost, stress, alarms, what the gardener did,
// and in words what to change next season, each with its figure.
//
// Volumes are litres, water fractions m³/m³, times civil in the garden's zone.
// A journal knows what went in and what stayed; what left a pot, drunk,
// evaporated or drained, is one figure. Only a simulator can tell them apart:
// give its totals to Book.Simulated. The package reads, and draws nothing.
package report

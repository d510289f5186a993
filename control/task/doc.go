// Package task is the work that a person does: feeding and watering where no
// line does it, the weekly round, looking again at a plant that did not look
// well. It turns decisions into plain words (which pot, what to mix and how
// much of it, where to pour, in what order, how long to hold the hose, until
// when), keeps a book of what is open and what was done, and answers what a
// gardener sees with likely causes out of the pot's own records.
//
// It diagnoses no disease. It names what a pattern of leaves usually points to,
// where that pattern is from, and how a grower would check.
//
// Units: litres, grams, minutes, °C, mS/cm. The package is pure: it asks no
// clock, and the caller journals the events that [Book]'s methods return and
// hands them to [NewBook] after a restart.
package task

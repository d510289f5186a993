// Package feeding runs the feeding of a whole garden: for every zone that is
// fed it keeps the ledger, judges when a feed is due, and takes the sequence of
// package feed one step a tick, through the zone's line where there is an
// injector and as a task for the gardener where there is none. It keeps the
// book of tasks of package task too: feeds, water for pots without a line,
// flushes, the weekly round, looks and recoveries.
//
// The package is pure: its results depend on its arguments. What the caller
// owes it:
//
//  1. Output.Records on stable storage before any of Output.Wishes is ordered.
//     Where that fails, the wish is bound all the same, not ordered, and comes
//     back as a refusal.
//  2. Each wish ordered under a number of its own, told by State.Bind, and every
//     delivery and refusal back through the observation.
//  3. Output.Events and State.Snapshots journaled, and all three handed to
//     Restore after a restart.
//  4. Lines that State.Lent names left alone by whoever else decides about
//     water, while it names them.
//  5. The injector engaged for orders of kind Feeding alone: moistening and the
//     soak that carries a feed down are plain water.
//
// Units: litres, grams, mg/L, mS/cm, °C.
package feeding

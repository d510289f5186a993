// Package journal keeps what the gateway saw and did, in one SQLite file that
// survives power cuts: samples, intents and outcomes of orders, decisions,
// asks, feeds, notes and alarms.
//
// An intent is on the card before Intend returns (write-ahead log, synchronous
// FULL, on a connection of its own); everything else may lose the last moments
// before a power cut (synchronous NORMAL) but never the file. An outcome that
// was lost leaves its intent unfinished, which is charged in full at the next
// start: that errs on the dry side.
//
// Wall times are stored as UTC milliseconds together with whether they were
// confirmed, and with the monotonic time and the clock it counts on, so that a
// later run can tell which of the two to believe.
//
// A Journal may be used from any goroutine; writers wait for each other,
// readers for nobody. It holds garden's vocabulary and decides nothing.
package journal

// Package runner is the loop: sample, decide, act, record, tell.
//
// Loop holds one garden's assembly and has no goroutine and no clock of its own:
// whoever drives it says what time it is. On a board Drive does, with the
// monotonic clock and a goroutine that does nothing but end pulses; in package
// season an event clock does. What they drive is the same code, so that a
// simulation shows what the board will do.
package runner

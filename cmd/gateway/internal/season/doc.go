// Package season drives the gateway's loop on an event clock against the
// simulated terrace: a season in seconds for simulate, or at a chosen pace for
// run on the bench. Drivers, guard and controller are the ones that run on a
// board; only the clock, the bus and the pins differ.
//
// A Bench belongs to one goroutine.
package season

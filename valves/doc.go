// Package valves stands between a decision and a coil. Closed is the safe
// state, and nothing outside this package can energise a coil.
//
// An order passes three gates. permit, a pure function, may shorten or refuse
// it. The guard checks what permit let through once more from its own records,
// has the intent written, and only then hands the line's Actuator a Grant,
// which nobody else can make. From there on the guard alone ends the pulse: at
// the litres, or at a monotonic deadline that no arithmetic of the controller
// can move. A close is repeated until it is confirmed.
//
// The guard is passive: it reads no clock and starts no goroutine. Its caller
// owes it
//
//   - CloseAll before anything else, and Restore with what the journal knows;
//   - Advance, every 50 ms on a board from a goroutine that does nothing else,
//     or at NextDeadline on an event clock. Advance touches no journal, so a
//     slow card can't hold a line open;
//   - Flush, once a tick from elsewhere: it writes the outcomes. What is not
//     written stays an unfinished intent and is charged in full at the next
//     start;
//   - CloseEverything from a recover, and Seal at exit, followed by Advance
//     until Unconfirmed is empty or patience ends.
//
// Units: litres, litres per hour (FlowLPH), °C, time.Duration on the monotonic
// clock for every deadline.
package valves

// Package command takes what people and programs ask for over the broker.
//
// A command names what to do and to which zone, carries an identity and an
// expiry, and is answered on a reply topic of its own. The desk refuses what is
// retained, repeated, late, malformed, too much at once, or meant for a zone
// that does not exist, and says why. What it accepts is a wish: whether, how
// much and when water flows is decided behind it, by the controller and by
// valves.permit, which can only shorten or refuse.
//
// Commands that let nothing flow (close all, keep shut, acknowledge, done,
// automatic control off) are also taken where the clock is not certain; those
// that may are not, since nobody could tell that they are late.
package command

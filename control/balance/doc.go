// Package balance keeps a root zone's water account and fuses it with what
// probes say.
//
// Depletion is the textbook account of FAO-56 chapter 8, in millimetres over a
// rooted depth, for people who check figures with a pencil. Filter is what the
// controller lives on: the zone's mean water fraction and how much more or less
// this pot drinks than the book says, with the uncertainty of both.
//
// Water fractions are m³/m³ of the zone's whole volume. Losses and gains come
// in as fractions too, litres divided by the zone's litres. Callers owe finite
// numbers; an update that is not finite is ignored.
package balance

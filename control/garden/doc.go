// Package garden is the vocabulary that every other package speaks: pots, root
// zones, mixes, plants, probes, lines and the values that travel between them
// in one tick (Reading, Observed, Order, Delivery, Refusal).
//
// It holds types and their checks and nothing that decides, reads a clock or
// touches a device; it imports nothing of this module. Quantities are SI inside
// (litres, millimetres, kPa, °C, m³/m³, seconds) and a field's name carries the
// unit wherever its type does not. US gallons, inches and °F exist only at the
// edges: in the garden file and on the page.
package garden

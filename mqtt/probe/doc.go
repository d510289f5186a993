// Package probe keeps the latest reading of every probe whose node talks over
// the broker.
//
// A table entry is what the last good message said and when it was said; who
// wants a reading asks with the present moment and gets the value with its
// fault. Missing (nothing came yet), stale (nothing came lately) and out of
// span (what came cannot be) are different faults, and none of them is zero
// water. Repeated, overtaken, retained and surplus messages change nothing but
// a count.
//
// Units: volts, water fraction 0..1. One goroutine calls Take; any may read.
package probe

// Package house holds the tests of the rules that every other package keeps:
// which way imports point, what the pure core may not call, and that nothing
// outside valves can energise a coil. It contains no code that ships.
package house

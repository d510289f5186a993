// Package cost holds the running gateway against a program that only links and
// opens the same libraries: memory, processor time, what it writes, what it
// leaves open, start and stop. It consists of tests; the program beside it is
// their baseline and ships nowhere.
package cost

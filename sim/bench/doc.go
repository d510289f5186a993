// Package bench is the hardware of a virtual terrace: an i2c.Bus with ADS1115
// converters whose inputs are capacitive moisture probes in the terrace's soil,
// GPIO pins whose level opens the terrace's emitters, and the event clock that
// all of it lives on. The gateway's real drivers run on it byte for byte.
//
// Time passes only in Clock. A conversion takes its time on it, so a driver that
// does not wait reads the sample before, as on the real chip; events that fall
// due while a driver waits (a guard's deadline) run in the middle of its wait.
//
// The soil is not stepped for each conversion: readings use the state to which
// the terrace was last advanced, by Advance or by a pin that switched, and at
// the latest Options.Refresh ago. Differences below that are far under a
// probe's noise.
//
// Probes carry hidden truth: each has the inverse of its calibration plus seeded
// errors that no driver is told. Faults of inputs, chips, bus and pins can be
// set at any time. The numbers of the generic probe used where a garden has no
// calibration are invented.
//
// Units: volts, cm, °C, virtual time since the bench's beginning. Everything
// belongs to the clock's one goroutine. One seed, one result.
package bench

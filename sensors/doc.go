// Package sensors turns probe voltages into readings that say how far they may
// be trusted, and why not further.
//
// Curve is a probe's calibration: volts in, water fraction (m³/m³) at the
// probe's own depth out. ReadPoints reads a table of calibration points. Sampler
// reads every probe of a garden once per tick: the median of a burst of
// conversions, then a series of questions whose answers are the reading's
// quality and fault.
//
//   - at a rail: OpenCircuit or ShortCircuit, bad
//   - no calibration: NoCalibration, bad
//   - not the slightest movement, noise included, for hours: FlatLine, bad
//   - a jump no water makes: TooFast, bad until it comes back or time explains it
//   - beyond the calibrated span and its margin: OutOfSpan, uncertain
//   - burst too wide: Noisy, uncertain
//   - no answer: Missing; the last value is held as uncertain for a while, then
//     bad. An answer that is itself old is Stale, bad. Neither is ever zero water.
//
// A quality that was lost comes back only after a little more than the limit
// that took it, or after several plausible samples, so that a reading on a
// limit does not flap.
//
// One failing probe or chip never stops the others: a chip that fails twice
// running is left alone, opened again after a growing pause, and its probes are
// missing meanwhile.
//
// Caller duties: one goroutine; one Sample per tick with the tick's moment.
// Limits are common practice, no source, unless a comment says otherwise.
package sensors

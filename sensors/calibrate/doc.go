// Package calibrate turns what a gardener can measure with a kitchen scale, a
// bucket and a jug into a probe's calibration, and says how good it is.
//
//   - Container and ByWeight: weights of a small container as it dries.
//   - Bucket: known water stirred into dry mix, step by step.
//   - Choose: points to a curve. A line, a parabola, one over the voltage and
//     monotone interpolation are each fitted by sensors.NewCurve, the code the
//     gateway reads probes with, and compared by leave-one-out error; a bent
//     curve must be clearly better than a plain one. Several probes share one
//     shape with an offset each.
//   - CarryCapacity: the capacity measured in a small container, carried over to
//     the height of the pot.
//   - Reanchor: the one-point correction of a probe in its place, bounded and
//     reversible.
//   - LearnTemperature: the apparent change of water with temperature, from
//     nights in which the true water hardly moved.
//   - Moved: whether probes answered to the line that was opened.
//
// Units: volts, m³ of water per m³ of mix (35 % is 0.35), grams, litres, °C.
// Water weighs 1 g/mL; at 40 °C it is 0.8 % lighter, which is under the error of
// a kitchen scale here.
//
// The package is pure: no clock, no device, no file. Caller duties: pass weights
// in the order they were taken. Limits are judgement, no source, unless a
// comment says otherwise.
package calibrate

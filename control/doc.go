// Package control is the brain: it decides when a zone gets water and how much.
//
// NewPlan reads a garden once and works out what never changes: what each zone
// holds, when it is refilled, how its pulses are cut, and what each probe's
// reading means for the whole zone. Step then runs once per tick: readings,
// weather and what happened since go in, orders come out. It is a function of
// its arguments. It reads no clock, does no I/O, starts nothing, and allocates
// nothing once its State has been made.
//
// Order of things in one tick: what happened is credited (deliveries, refusals,
// wishes), the water account of every zone is moved on and fused with its good
// readings, each line's state machine advances, and the lines that want water
// share what the supply can carry, neediest first.
//
// Rules that hold here whatever comes in, each with a test:
//
//   - No order of kind Irrigate rests on a reading that is not good. Without a
//     trustworthy probe a zone lives on its water balance, by orders of kind
//     Estimated, within a budget of its own.
//   - A line never has two orders open, and the planned flow never exceeds what
//     the supply carries.
//   - The litres ordered for a line in any 24 hours stay within its cap.
//   - Readings during and just after water end a watering and never start one:
//     the pot is not at rest then, and its profile says nothing about its mean.
//
// What callers owe: Moments whose Mono never runs back, one Reading per probe in
// ProbeList's order, every Delivery and Refusal exactly once, State.NextOrder
// seeded above every order id ever used, and Stops carried out.
//
// Units: litres, cm, mm, m², hours where a name says so, water as m³/m³.
package control

// Package policy has what people do today to water pots, as rivals to the
// gateway's controller: timers, a moisture switch, a can, a careful grower; and
// the least water that could have done, as a ledger.
//
// A policy sees a Sight and says what it wants in Orders; whoever runs it owns
// terrace, valves and clock, and holds every policy to the same hardware limits.
// The rivals are set with hindsight (Facts): a timer "for the hottest week" knows
// exactly how much the hottest week of this season will take from each pot. No
// real timer is set as well, so a rival here is as good as its kind can be. Only
// the timer "by tables" is set as one can be set beforehand, by crop tables, the
// emitters' labels and the month's weather, not knowing how far this very pot
// differs from the tables.
//
// Volumes are litres, flows L/h, water m³/m³, times of day offsets from midnight.
// Zones are numbered in garden.EachZone order, lines as in the garden. Policies
// are plain state machines: no clock, no randomness, not safe for concurrent use.
package policy

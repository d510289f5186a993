// Package terrace simulates a terrace of fabric pots so that the gateway can be
// tried with no hardware: soil columns, plants, weather and plumbing, with a
// physics of its own. It shares with the controller only the vocabulary, the sun
// and the crop table; what it knows of water in a mix is in package column.
//
// A Terrace is driven by its caller's clock. Valves are set, then Advance moves
// everything to a later time; the state can be looked at in between. Zones are
// numbered in garden.EachZone order. Volumes are litres, depths cm, rain and
// reference evapotranspiration mm, temperatures °C, times since the start.
//
// What the controller can't know: each zone drinks a lasting seeded factor more
// or less than the book says and another factor each day; emitters differ from
// their rating and may clog; the supply sags when many lines run.
//
// One seed gives one result, byte for byte, for the same calls. Every purpose
// draws from a stream of its own, so that a change to one (say, rain hours)
// leaves the others as they were. A Terrace is not safe for concurrent use.
package terrace

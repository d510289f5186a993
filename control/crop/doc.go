// Package crop says how much a vegetable drinks for the weather it stands in,
// how that changes as it grows, and how its surroundings change it.
//
// Crop coefficients, stage lengths and depletion fractions are those of FAO-56
// (Allen, Pereira, Raes and Smith 1998, FAO Irrigation and Drainage Paper 56,
// Tables 11, 12 and 22), for a field with about 45 % minimum humidity and 2 m/s
// of wind. Every entry names its sources; a value FAO-56 does not have is
// marked judgement. Canopy sizes are judgement throughout.
//
// Water need of a plant in litres a day is Kc × ETo (mm) × canopy area (m²),
// times the factor of where it stands. The canopy is taken, not the pot: a
// grown plant reaches far over its rim.
//
// Age is in stage days: calendar days since planting, unless the caller counts
// thermal progress or the gardener said that a stage had begun.
package crop

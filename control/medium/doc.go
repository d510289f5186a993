// Package medium says how a potting mix holds water: retention curves, what a
// pot of it keeps after it has drained, and what a probe at one depth tells
// about the whole pot.
//
// Suction h is in cm of water, positive where the mix is unsaturated. Heights z
// are in cm above the pot's floor. Water is a volumetric fraction, m³/m³.
//
// A drained pot is in hydrostatic equilibrium with its own floor: suction is
// nil there and grows by 1 cm per cm of height (Passioura 2006, Funct. Plant
// Biol. 33:1075-1079). So the mix is wettest at the floor and driest on top, a
// probe reads its own height and not the mean, and a tall pot of the same mix
// holds a smaller share of water than a low one. Container capacity is the mean
// of the retention curve over the pot, weighted by the area at each height
// (Milks, Fonteno and Larson 1989, J. ASHS 114(1):53-56).
//
// The profile of a pot that is drying is taken as the same curve shifted by one
// suction offset. That is exact at rest after drainage and an approximation
// while roots drink unevenly.
//
// Callers owe: finite numbers, a shape with positive height and diameters, and
// the gardener's own measurements before anything computed here, see Resolve.
package medium

// Package testdata carries the example gardens, so that the binary can show what
// it does with no file at hand, and tests need no path to one.
package testdata

import _ "embed"

// Terrace is the demo: a roof terrace on the bench. Ours, invented.
//
//go:embed terrace.yaml
var Terrace []byte

// Heatwave is a synthetic garden for a synthetic heat spell, in which a grown
// pot empties within a day.
//
//go:embed heatwave.yaml
var Heatwave []byte

// Garden12 is a synthetic garden of twelve pots for benchmarks.
//
//go:embed garden12.yaml
var Garden12 []byte

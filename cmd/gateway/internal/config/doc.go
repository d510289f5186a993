// Package config reads the garden file: what stands on the terrace, what waters
// it and what it hangs on.
//
// The file is YAML with one document, no anchors, aliases or tags. One table
// (garden_table.go and its neighbours) names every key, what may stand there
// and where it goes; decoding, the messages, the suggestions for misspelt keys
// and the JSON Schema all come from it. Values carry their unit, which package
// units turns into SI.
//
// Load reports everything that is wrong at once, each as
//
//	FILE:LINE:COLUMN: PATH: what, what was found, what was expected
//
// in three steps: screen (size, characters, nesting: what the YAML parser must
// never see), read (the table against the syntax tree), check (what contradicts
// itself). Whatever needs a retention curve or a crop is judged later, when a
// plan is made; Source.Position turns the paths of those problems into lines.
package config

// Package topic builds and parses every topic the gateway owns, in one place.
//
// All of them live under <prefix>/<site>/. The prefix is one to three levels,
// the site one; both, and every name below them, are identifiers as
// garden.ValidID judges them ([a-z0-9-], at most 48 bytes), so no name of a
// garden can smuggle a wildcard or a level separator into a topic.
//
// The topics of other people's devices (a plain switch, a weather station, a
// hub's own tree) are not built here; ValidName and ValidFilter judge those
// where they are configured.
package topic

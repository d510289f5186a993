// Package schema holds the JSON Schemas (draft 2020-12) of the message contract
// in CONTRACT.md, one file for each kind of payload.
package schema

import "embed"

// Files are the schemas, such as "zone.json".
//
//go:embed *.json
var Files embed.FS

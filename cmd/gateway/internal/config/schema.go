package config

// Schema describes the garden file in JSON Schema (draft 2020-12), so that
// editors complete keys and flag slips while they are typed. It comes from the
// tables that decode the file; what only a second look finds (two probes on one
// input, a refill point over capacity) is not in it.
func Schema() map[string]any {
	s := gardenTable().schema()
	s["$schema"] = "https://json-schema.org/draft/2020-12/schema"
	s["title"] = "Garden file"
	return s
}

package garden

// Identifiers are distinct types so that arguments cannot be swapped without
// the compiler noticing. All of them match [a-z0-9-]+, start with a letter or
// digit, and are at most MaxIDLen bytes, so that one spelling serves the garden
// file, topics, metrics and the page.
type (
	// PotID names a pot.
	PotID string
	// ZoneID names a root zone: the pot's own id where the pot has one zone,
	// "pot-zone" where it has several.
	ZoneID string
	// LineID names an irrigation line: one valve and the emitters behind it.
	LineID string
	// ProbeID names a moisture probe.
	ProbeID string
	// MixID names a potting mix.
	MixID string
)

// MaxIDLen is the longest identifier in bytes.
const MaxIDLen = 48

// OrderID numbers orders. It grows without gaps within a run and is seeded
// from the journal at start, so that no two orders of a garden share one.
type OrderID uint64

// ValidID reports whether s can be an identifier.
func ValidID(s string) bool {
	if s == "" || len(s) > MaxIDLen || s[0] == '-' || s[len(s)-1] == '-' {
		return false
	}
	for i := 0; i < len(s); i++ {
		c := s[i]
		if (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '-' {
			return false
		}
	}
	return true
}

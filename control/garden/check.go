package garden

// Problem is one thing wrong with a garden. Path names the place in the garden
// file ("pots.chilli.zones.main.refill"), from which the file's reader finds
// line and column.
type Problem struct {
	Path string
	// What is wrong, with the value found and what was expected.
	What string
	// Fatal problems refuse to start; others are warnings.
	Fatal bool
}

package control

// look is a span between two moments at which a zone at rest was looked at. From
// what it rose by, and what the book says it lost, comes what arrived of the water
// that a line is said to have given.
type look struct {
	open       bool
	mid, spent float64 // the level and the book's losses at its begin, m³/m³
	// came is what the line gave by rating since, rainL what rain did as it is
	// credited, L.
	came, rainL float64
}

// begin opens it anew where the zone stands at mid.
func (l *look) begin(mid, spent float64) { *l = look{open: true, mid: mid, spent: spent} }

// rained books rain into the zone; much of it ends the look.
func (l *look) rained(litres float64, zp *ZonePlan) {
	l.rainL += litres
	l.open = l.open && l.rainL <= mostRain*zp.VolumeL
}

// full tells that some of the water may have run through, by the level at its ends.
func (l *look) full(mid float64, zp *ZonePlan) bool {
	return max(l.mid, mid) >= float64(zp.Capacity)-slack
}

// arrived is what was seen to arrive of what came, as a share, in a zone that stands
// at mid and drinks factor times what the book says.
func (l *look) arrived(mid, spent, factor float64, zp *ZonePlan) float64 {
	return ((mid-l.mid+factor*(spent-l.spent))*zp.VolumeL - l.rainL) / l.came
}

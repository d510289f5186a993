package control

import "fabricpot/control/garden"

// Waiting is a wish of the last Step that the supply had no room for.
type Waiting struct {
	Line garden.LineID
	// Zone is the zone whose need it is, Litres what the next pulse would give
	// through the whole line.
	Zone   garden.ZoneID
	Litres float64
}

// Waiting appends what the last Step wished for and could not order for want of
// supply or of minutes before watering closes, the neediest first. What people
// asked for and survival doses are left out: they say nothing about the plants'
// need.
func (p *Plan) Waiting(st *State, dst []Waiting) []Waiting {
	for _, x := range st.wishes {
		l := &st.lines[x.line]
		if l.phase == garden.Pulsing || l.kind != garden.Irrigate && l.kind != garden.Estimated {
			continue
		}
		dst = append(dst, Waiting{Line: p.lines[x.line].ID, Zone: p.zones[l.lead].ID, Litres: x.litres})
	}
	return dst
}

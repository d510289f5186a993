package control

// Confuse tells the state whether the probe of that number, in ProbeList's order, seems
// to hang in another pot: while it does it is not believed, whatever it reads, and
// afterwards from when it moves with its own pot's water. A number out of range is left
// alone.
func (p *Plan) Confuse(st *State, probe int, yes bool) {
	if probe < 0 || probe >= len(st.probes) || st.probes[probe].confused == yes {
		return
	}
	ps := &st.probes[probe]
	ps.confused = yes
	if !yes {
		return
	}
	ps.distrusted = true
	zi := p.probes[probe].zone
	z, zp := &st.zones[zi], &p.zones[zi]
	z.doubt = z.doubt.ended() // it was another pot that read too wet
	z.dumb = false            // or got no water
	for _, k := range zp.probes {
		if !st.probes[k].distrusted {
			return // another has told of the pot's own water
		}
	}
	// What was told of the pot was another's water. It may have gone without for days:
	// it is taken to be at its refill point, and a pot that is not drains once.
	z.lost(zp, 0)
}

// Confused reports whether a probe, by its number in ProbeList's order, seems confused
// with another: from when a pair showed itself until one of the two answers clearly to
// its own line alone.
func (s *Swaps) Confused(probe int) bool {
	return probe >= 0 && probe < len(s.probes) && s.confused(probe)
}

// Follow takes over which probes seem confused in another version of the same garden.
func (s *Swaps) Follow(was *Swaps) {
	if len(was.probes) != len(s.probes) {
		return
	}
	for i := range s.probes {
		p, w := &s.probes[i], &was.probes[i]
		p.with, p.times, p.shown = w.with, w.times, w.shown
	}
}

func (s *Swaps) confused(probe int) bool {
	a := &s.probes[probe]
	if a.with < 0 || a.times < swapTwice {
		return false
	}
	b := &s.probes[a.with]
	return b.with == probe && b.times >= swapTwice
}

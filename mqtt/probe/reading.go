package probe

import "fabricpot/control/garden"

// Convert makes water fraction of a probe's volts and says how far to trust it.
type Convert func(garden.ProbeID, garden.Volts) (garden.WaterFraction, garden.Quality, garden.ReadingFault)

// Reading is what the probe says at this moment. A probe the table does not
// know is Missing.
func (t *Table) Reading(id garden.ProbeID, now garden.Moment, convert Convert) garden.Reading {
	t.mu.Lock()
	defer t.mu.Unlock()
	e := t.index[id]
	if e == nil {
		return garden.Reading{Probe: id, At: now, Fault: garden.Missing}
	}
	r := garden.Reading{Probe: id, Zone: e.zone, At: e.at}
	switch {
	case !e.have:
		r.At, r.Fault = now, garden.Missing
		return r
	case now.Since(e.at) > e.src.maxAge:
		r.Fault = garden.Stale
		return r
	case e.value < e.src.lo || e.value > e.src.hi:
		// Usually a unit that is not the one the garden file names.
		r.Fault = garden.OutOfSpan
		return r
	}
	switch e.src.quantity {
	case garden.RemoteWater, garden.RemotePercent:
		r.Water, r.Quality = garden.WaterFraction(e.value), garden.Good
	default:
		r.Volts = garden.Volts(e.value)
		if convert == nil {
			r.Fault = garden.NoCalibration
			return r
		}
		r.Water, r.Quality, r.Fault = convert(id, r.Volts)
	}
	return r
}

// Knows reports whether the probe is in the table.
func (t *Table) Knows(id garden.ProbeID) bool { return t.index[id] != nil }

// Counts says what became of the probe's messages.
func (t *Table) Counts(id garden.ProbeID) Counts {
	t.mu.Lock()
	defer t.mu.Unlock()
	if e := t.index[id]; e != nil {
		return e.counts
	}
	return Counts{}
}

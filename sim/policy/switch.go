package policy

import (
	"fabricpot/control/garden"
)

// switchBand is how far under its drained reading a moisture switch opens, m³/m³.
// Judgement.
const switchBand = 0.08

// moistureSwitch opens a line when its first zone's first probe is dry and shuts
// it when the probe is as wet as it was in the drained pot: one threshold, no
// sizing, no soak, and no idea that others want the supply as well. Like a plain
// switch it goes by voltage: an unplugged probe is a dry one.
type moistureSwitch struct {
	garden *garden.Garden
	lines  []switched
}

type switched struct {
	probe int // -1: the line has none
	// Volts: shut at closeV, open at openV. A capacitive probe's voltage falls
	// as water rises: openV > closeV.
	openV, closeV garden.Volts
	set, running  bool
}

func newMoistureSwitch(f Facts) *moistureSwitch {
	m := &moistureSwitch{garden: f.Garden}
	probes := f.Garden.ProbeList()
	for i := range f.Garden.Lines {
		sw := switched{probe: -1}
		for n, p := range probes {
			if p.Zone == f.Garden.Lines[i].Outlets[0].Zone && sw.probe < 0 {
				sw.probe = n
			}
		}
		m.lines = append(m.lines, sw)
	}
	return m
}

// Step takes the first readings, of pots that were soaked and have drained, as
// the wet mark, and then switches.
func (m *moistureSwitch) Step(s *Sight, out *Orders) {
	for i := range m.lines {
		sw, l := &m.lines[i], &m.garden.Lines[i]
		for _, d := range s.Delivered {
			sw.running = sw.running && d.Line != l.ID
		}
		for _, r := range s.Refused {
			sw.running = sw.running && r.Line != l.ID
		}
		if sw.probe < 0 || sw.probe >= len(s.Readings) {
			continue
		}
		r := &s.Readings[sw.probe]
		if !sw.set {
			if r.Quality == garden.Bad {
				continue
			}
			sw.closeV, sw.set = r.Volts, true
			sw.openV = sw.closeV + garden.Volts(switchBand*m.voltsPerWater(r.Zone, r.Probe))
			continue
		}
		switch {
		case sw.running && r.Volts <= sw.closeV:
			out.Stop = append(out.Stop, l.ID)
		case !sw.running && r.Volts >= sw.openV:
			on := m.garden.Limits.MaxOn
			if l.MaxOn > 0 {
				on = min(on, l.MaxOn)
			}
			out.Water = append(out.Water, garden.Order{Line: l.ID, Zone: l.Outlets[0].Zone,
				Litres: l.FlowLPH() * on.Hours(), MaxOn: on, Kind: garden.Irrigate})
			sw.running = true
		}
	}
}

// voltsPerWater is how much a probe's voltage falls from dry to wet by the first
// and last point of its calibration, V per m³/m³.
func (m *moistureSwitch) voltsPerWater(zone garden.ZoneID, probe garden.ProbeID) float64 {
	const usual = 2.4 // of the two-point curves that mixes usually have
	pot, z, ok := m.garden.Zone(zone)
	if !ok {
		return usual
	}
	for i := range z.Probes {
		if z.Probes[i].ID != probe {
			continue
		}
		c := m.garden.CalibrationFor(pot, &z.Probes[i])
		if n := len(c.Points); n >= 2 && c.Points[0].Water != c.Points[n-1].Water {
			a, b := c.Points[0], c.Points[n-1]
			if v := float64(a.Volts-b.Volts) / float64(b.Water-a.Water); v > 0 {
				return v
			}
		}
	}
	return usual
}

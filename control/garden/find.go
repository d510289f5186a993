package garden

// The gardens this serves have tens of zones: a scan beats an index that could
// go out of step with the slices. Hot paths resolve to indices once, at start.

// Zone returns the zone with that id.
func (g *Garden) Zone(id ZoneID) (*Pot, *Zone, bool) {
	for i := range g.Pots {
		for j := range g.Pots[i].Zones {
			if g.Pots[i].Zones[j].ID == id {
				return &g.Pots[i], &g.Pots[i].Zones[j], true
			}
		}
	}
	return nil, nil, false
}

// Mix returns the mix with that id.
func (g *Garden) Mix(id MixID) (*Mix, bool) {
	for i := range g.Mixes {
		if g.Mixes[i].ID == id {
			return &g.Mixes[i], true
		}
	}
	return nil, false
}

// Line returns the line with that id.
func (g *Garden) Line(id LineID) (*Line, bool) {
	for i := range g.Lines {
		if g.Lines[i].ID == id {
			return &g.Lines[i], true
		}
	}
	return nil, false
}

// EachZone calls f for every zone in file order. That order numbers zones
// wherever they are numbered.
func (g *Garden) EachZone(f func(*Pot, *Zone)) {
	for i := range g.Pots {
		for j := range g.Pots[i].Zones {
			f(&g.Pots[i], &g.Pots[i].Zones[j])
		}
	}
}

// ProbeList returns every probe in file order. That order numbers probes
// wherever they are numbered.
func (g *Garden) ProbeList() []Probe {
	var out []Probe
	g.EachZone(func(_ *Pot, z *Zone) { out = append(out, z.Probes...) })
	return out
}

// VolumeL is the zone's share of its pot's mix, litres.
func (z *Zone) VolumeL(p *Pot) float64 { return z.Share * p.VolumeL }

// CalibrationFor is the probe's own calibration, or else its mix's.
func (g *Garden) CalibrationFor(p *Pot, pr *Probe) Calibration {
	c := pr.Calibration
	if c.Kind == NoCurve {
		if m, ok := g.Mix(p.Mix); ok {
			c = m.Calibration
		}
		c.OffsetWater += pr.Calibration.OffsetWater
	}
	c.OffsetWater += c.ProbeOffsets[pr.ID]
	return c
}

package control

import "fabricpot/control/garden"

// urgency is how much of its band a zone has lost, 1 at the refill point.
func (p *Plan) urgency(st *State, zi int) float64 {
	z, zp := &st.zones[zi], &p.zones[zi]
	if z.trusted && z.known {
		return (float64(zp.Capacity) - z.water.Mean) / max(z.band, 1e-6)
	}
	return z.short / max(z.band*zp.VolumeL, 1e-6)
}

// need is what brings the zone to its stop point, L into the zone, leaching
// included, never negative.
func (p *Plan) need(st *State, zi int) float64 {
	z, zp := &st.zones[zi], &p.zones[zi]
	litres := p.plainNeed(st, zi)
	switch {
	case !z.washDue(zp):
	case z.trusted && z.known:
		litres = max(litres, z.washes(zp))
	case z.saltsOwe(zp) >= washShare*zp.VolumeL:
		litres += z.saltsOwe(zp)
	}
	return litres
}

// plainNeed is need without a wash.
func (p *Plan) plainNeed(st *State, zi int) float64 {
	z, zp := &st.zones[zi], &p.zones[zi]
	var litres float64
	if z.trusted && z.known {
		litres = (z.stop(zp) - z.water.Mean) * zp.VolumeL
		if z.blind && !zp.DepthUnseen && !z.anchor.trying {
			litres *= blindSurplus
		}
		litres = z.withDepth(zp, litres, st.last.Mono)
	} else {
		// Without a probe the share that is to drain is given along.
		litres = z.short / (1 - zp.LeachingFraction)
	}
	return max(0, litres)
}

// trigger is why a zone wants water now.
func (p *Plan) trigger(st *State, zi int, a *ahead) (garden.OrderKind, garden.Reason) {
	z, zp := &st.zones[zi], &p.zones[zi]
	if z.empty() {
		return 0, garden.Reason{}
	}
	refill := z.refillAt(zp)
	vol := zp.VolumeL
	if z.trusted && z.known {
		if !z.fresh {
			return 0, garden.Reason{}
		}
		if z.isUnder && z.under >= confirmFor {
			if z.washDue(zp) {
				return garden.Irrigate, garden.Reason{Code: garden.RefillAndWash, A: z.water.Mean, B: z.owes(zp), C: p.need(st, zi)}
			}
			return garden.Irrigate, garden.Reason{Code: garden.BelowRefill, A: z.water.Mean, B: refill, C: p.need(st, zi)}
		}
		if zp.DepthUnseen && z.depth.short >= waitForProbe*z.band*vol {
			return garden.Estimated, garden.Reason{Code: garden.DepthUnseen, A: z.depth.short}
		}
		spare := (z.water.Mean - refill) * vol
		if z.fullAt(zp)-z.water.Mean < aheadShare*z.band || spare <= 0 {
			return 0, garden.Reason{}
		}
		return garden.Irrigate, p.foresee(st, zi, a, spare, z.water.Factor)
	}
	if len(zp.probes) > 0 && z.hasGood && z.trusted {
		return 0, garden.Reason{}
	}
	if z.short >= z.band*vol {
		return garden.Estimated, garden.Reason{Code: garden.BalanceSaysDry, A: z.short / allowance, B: allowance}
	}
	if z.short >= 0.5*z.band*vol {
		return garden.Estimated, p.foresee(st, zi, a, z.band*vol-z.short, allowance*max(z.water.Factor, 1))
	}
	return 0, garden.Reason{}
}

// foresee says whether a zone with spare litres over its refill point should be
// watered ahead of closed hours or of the hottest hours.
func (p *Plan) foresee(st *State, zi int, a *ahead, spare, factor float64) garden.Reason {
	z, zp := &st.zones[zi], &p.zones[zi]
	perMM := z.lossPerMM * factor
	if perMM <= 0 || a.rainMM*zp.AreaM2 > spare {
		return garden.Reason{}
	}
	if a.closes && a.open && a.closedMM*perMM > spare && a.shutsIn <= p.sessionHours(zi)+0.5 {
		return garden.Reason{Code: garden.BeforeClosedHours, A: a.shutsIn, B: st.sky.until(a.solar, spare/perMM)}
	}
	if a.heat && a.heatMM*perMM > spare && a.heatIn <= p.sessionHours(zi)+0.5 {
		return garden.Reason{Code: garden.BeforeHeat, A: a.heatIn, B: st.sky.until(a.solar, spare/perMM)}
	}
	return garden.Reason{}
}

// sessionHours is how long a whole refill of the zone takes, soaks included.
func (p *Plan) sessionHours(zi int) float64 {
	zp := &p.zones[zi]
	n := float64(zp.Pulses)
	return n*zp.PulseTime.Hours() + (n-1)*zp.Soak.Hours()
}

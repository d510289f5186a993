package control

import (
	"time"

	"fabricpot/control/garden"
)

// plantedSince tells that the garden file has the plants planted on the day of t or after
// it. Who pulls and plants on one day pulls first.
func (pl *plantPlan) plantedSince(t time.Time) bool {
	return !pl.plantedOn.IsZero() && civilDay(pl.plantedOn) >= civilDay(t)
}

// cameAfter tells that they are known to have come on a later day than t's.
func (ps *plantState) cameAfter(t time.Time) bool {
	return !ps.seen && civilDay(ps.plantedOn) > civilDay(t)
}

// Outlives tells that some of the plants that a pull names stand on all the same: those
// that came after its day by what was entered, or on it by the garden file. Who pulls and
// plants on one day pulls first.
func (p *Plan) Outlives(st *State, e *garden.PlantEvent) bool {
	i := p.zoneIndex(e.Zone)
	if i < 0 || e.Kind != garden.Pulled {
		return false
	}
	for k := range p.zones[i].plants {
		pl := &p.zones[i].plants[k]
		if pl.named(e.Crop) && (pl.plantedSince(e.On) || !st.zones[i].plants[k].gone && st.zones[i].plants[k].cameAfter(e.On)) {
			return true
		}
	}
	return false
}

// emptied notes since when nothing stands in the zone, and what was planted after that.
func (z *zoneState) emptied(zp *ZonePlan, when, day time.Time) {
	for k := range z.plants {
		if ps := &z.plants[k]; !ps.gone && !zp.plants[k].plantedSince(when) && !ps.cameAfter(when) {
			return
		}
	}
	if z.place.emptyFrom.IsZero() {
		z.place.emptyFrom = day
	}
	for k := range z.plants {
		if !z.plants[k].gone {
			z.place.stand(z.plants[k].plantedOn)
		}
	}
}

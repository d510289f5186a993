package control

import (
	"fmt"
	"reflect"
	"time"

	"fabricpot/control/garden"
)

// capWaits is how long a budget that a reload loosened is still bounded by what
// it was before.
const capWaits = 24 * time.Hour

// hold bounds a line's budgets after a reload.
type hold struct {
	on             bool
	capL, guessedL float64
	until          time.Duration
}

// budgets are what a line may be ordered in a day, and the part of it without a
// trustworthy probe, L.
func (p *Plan) budgets(st *State, i int, now garden.Moment) (capL, guessedL float64) {
	lp, h := &p.lines[i], &st.lines[i].hold
	if h.on && now.Mono < h.until {
		return min(lp.CapL, h.capL), min(lp.EstimatedL, h.guessedL)
	}
	return lp.CapL, lp.EstimatedL
}

// Reload carries a state on that another plan of the same garden made: from now
// on it is p's. What is known of a zone stays, its water, its factor, what it is
// doing and what was given; budgets that grew wait a day. changed are the probes
// whose readings mean something else now, events what was done to the plants,
// oldest first, for zones whose plants the garden file has changed.
//
// Zones, lines and probes must be the same, in the same order; if they are not,
// nothing is changed. Where both plans say the same, so does the next Step.
func (p *Plan) Reload(old *Plan, st *State, now garden.Moment, changed func(garden.ProbeID) bool, events []garden.PlantEvent) error {
	if err := p.sameShape(old, st); err != nil {
		return err
	}
	for i := range p.lines {
		capL, guessedL := old.budgets(st, i, now)
		p.holdBack(&old.lines[i], &st.lines[i], i, min(capL, p.lines[i].CapL), min(guessedL, p.lines[i].EstimatedL), now)
		if old.supply.MeterPulsesPerL != p.supply.MeterPulsesPerL {
			st.lines[i].flow = lineFlow{} // what it had was counted on another scale
		}
	}
	st.events = st.events[:0]
	for i := range p.zones {
		p.reloadZone(&old.zones[i], &p.zones[i], &st.zones[i], events, now)
	}
	for i := range p.probes {
		pp := &p.probes[i]
		if !changed(pp.id) && reflect.DeepEqual(pp, &old.probes[i]) {
			continue
		}
		// What it showed so far was on another scale; a doubt stands.
		st.probes[i] = probeState{distrusted: st.probes[i].distrusted, confused: st.probes[i].confused}
		st.zones[pp.zone].forgetTrend()
		st.zones[pp.zone].arrival = arrival{}
		st.zones[pp.zone].anchor = anchor{}
		st.zones[pp.zone].doubt = st.zones[pp.zone].doubt.ended()
		st.zones[pp.zone].water.Forget(otherSD * otherSD)
	}
	if old.byHeat != p.byHeat {
		st.replanted = true
	}
	return nil
}

func (p *Plan) sameShape(old *Plan, st *State) error {
	if old == nil || len(old.zones) != len(p.zones) || len(old.lines) != len(p.lines) || len(old.probes) != len(p.probes) ||
		len(st.zones) != len(p.zones) || len(st.lines) != len(p.lines) || len(st.probes) != len(p.probes) {
		return fmt.Errorf("control: another number of zones, lines or probes: that takes a restart")
	}
	for i := range p.zones {
		if a, b := &old.zones[i], &p.zones[i]; a.ID != b.ID || a.line != b.line || a.share != b.share {
			return fmt.Errorf("control: zone %s is another, or watered in another way: that takes a restart", a.ID)
		}
	}
	for i := range p.lines {
		if a, b := &old.lines[i], &p.lines[i]; a.ID != b.ID || a.FlowLPH != b.FlowLPH {
			return fmt.Errorf("control: line %s is another: that takes a restart", a.ID)
		}
	}
	for i := range p.probes {
		if a, b := &old.probes[i], &p.probes[i]; a.id != b.id || a.zone != b.zone {
			return fmt.Errorf("control: probe %s is another: that takes a restart", a.id)
		}
	}
	return nil
}

func (p *Plan) holdBack(was *LinePlan, l *lineState, i int, capL, guessedL float64, now garden.Moment) {
	to, before := &p.lines[i], l.hold
	l.hold = hold{}
	if capL == to.CapL && guessedL == to.EstimatedL {
		return
	}
	l.hold = hold{on: true, capL: capL, guessedL: guessedL, until: now.Mono + capWaits}
	if before.on && now.Mono < before.until && was.CapL == to.CapL && was.EstimatedL == to.EstimatedL {
		l.hold.until = before.until
	}
}

// reloadZone takes a zone over into another plan of it.
func (p *Plan) reloadZone(was, to *ZonePlan, z *zoneState, events []garden.PlantEvent, now garden.Moment) {
	if reflect.DeepEqual(was, to) {
		return
	}
	z.forgetTrend()
	if was.Capacity != to.Capacity {
		z.anchor, z.doubt = anchor{}, z.doubt.ended() // its readings were held against the other
	}
	if was.VolumeL > 0 && to.VolumeL > 0 && was.VolumeL != to.VolumeL {
		// The litres are the same; how they spread is a guess.
		z.water.Mean *= was.VolumeL / to.VolumeL
		z.arrival = arrival{}
		z.water.Forget(otherSD * otherSD)
	}
	// What is missing is missing to another capacity.
	more := float64(to.Capacity)*to.VolumeL - float64(was.Capacity)*was.VolumeL
	z.short = max(0, z.short+more)
	z.doubt.missingL = min(max(0, z.doubt.missingL+more), to.holdsL())
	if z.salts.reload(was, to); to.washing.waterMS == 0 {
		z.depth.may = 0
	}
	z.depth.reload(to, was.counted(), more)
	z.water.Hold(float64(to.LowerLimit)/4, float64(to.Porosity))
	z.short = min(z.short, to.VolumeL)
	if !sameStand(was, to) {
		p.replant(to, z, events, now)
		z.arrival = arrival{}
		z.unsureOfDemand()
	}
	p.grow(to, z, now)
}

// otherSD is how unsure a pot of another size, or a probe that means something
// else, makes of a zone's water, m³/m³. Judgement.
const otherSD = 0.03

// sameStand tells that the same plants stand in the same place.
func sameStand(was, to *ZonePlan) bool {
	if was.exposure != to.exposure || len(was.plants) != len(to.plants) {
		return false
	}
	for i := range to.plants {
		a, b := &was.plants[i], &to.plants[i]
		if a.crop.Name != b.crop.Name || a.count != b.count || !a.plantedOn.Equal(b.plantedOn) {
			return false
		}
	}
	return true
}

// replant makes the plants of a zone as the garden file has them and does to
// them what was done since, as a start does.
func (p *Plan) replant(to *ZonePlan, z *zoneState, events []garden.PlantEvent, now garden.Moment) {
	today := z.place.grownTo
	alone := &State{zones: make([]zoneState, len(p.zones))}
	fresh := &alone.zones[p.zoneIndex(to.ID)]
	*fresh = *z
	fresh.plants, fresh.place = to.newPlants(), to.newPlace()
	for k := range events {
		e := &events[k]
		if e.Zone != to.ID || p.CheckPlant(e) != nil {
			continue // of a crop that is no more
		}
		if !e.On.IsZero() {
			p.growOn(to, fresh, civilDay(e.On), garden.DayWeather{})
		}
		p.plant(alone, now, e)
	}
	if fresh.place.grownTo > 0 && today > fresh.place.grownTo {
		p.growOn(to, fresh, today, garden.DayWeather{})
	}
	fresh.place.grownTo = today
	// What was done to the water is in the account already.
	z.plants, z.place = fresh.plants, fresh.place
}

// forgetTrend drops what a zone's levels were being compared with: they mean
// something else now. What was learnt from earlier comparisons stands.
func (z *zoneState) forgetTrend() {
	z.uneven.open, z.uneven.seen = false, false
	z.arrival.open = false
	z.anchor.open, z.anchor.trying, z.anchor.fillings = false, false, 0
	z.span.open, z.drying = false, false
	z.odd = odd{}
	z.isUnder, z.under = false, 0
}

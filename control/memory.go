package control

import (
	"math"
	"slices"
	"time"

	"fabricpot/control/balance"
	"fabricpot/control/garden"
)

// Memory is what a restart must not unlearn: each zone's demand factor and where
// its water stood. It is plain data, made to be kept as JSON.
type Memory struct {
	// At is zero where no confirmed clock told.
	At    time.Time    `json:"at"`
	Zones []ZoneMemory `json:"zones"`
	// NextOrder is what no order had by then, Open those that were under way: what was
	// delivered of others is in it, whatever a clock says of when.
	NextOrder garden.OrderID   `json:"next_order,omitempty"`
	Open      []garden.OrderID `json:"open,omitempty"`
	Lines     []LineMemory     `json:"lines,omitempty"`
}

// ZoneMemory is one zone's part of it.
type ZoneMemory struct {
	Zone garden.ZoneID `json:"zone"`
	// Factor is how much the zone drinks against the book, FactorSD its
	// standard deviation.
	Factor   float64 `json:"factor"`
	FactorSD float64 `json:"factor_sd"`
	// Water and WaterSD are the zone's mean water fraction; Known tells whether
	// a probe or a person had said so.
	Water   float64 `json:"water"`
	WaterSD float64 `json:"water_sd"`
	Known   bool    `json:"known"`
	// ShortL is what the cautious balance missed, L.
	ShortL float64 `json:"short_l"`
	// DepthL is what its balance misses since it was last watered through, L.
	DepthL float64 `json:"depth_l,omitempty"`
	// WashL is what should have drained to leach and has not, OverL what it holds over
	// capacity and is about to drain, L.
	WashL float64 `json:"wash_l,omitempty"`
	OverL float64 `json:"over_l,omitempty"`
	// SaltLoad is what its water brought of salts and did not take away again,
	// mS/cm · L, 0 where that is not accounted for; WashOn tells that they are being
	// washed out, MayL how much may drain for it, L, ThroughAt when the zone was last washed
	// through.
	SaltLoad  float64   `json:"salt_load,omitempty"`
	WashOn    bool      `json:"wash_on,omitempty"`
	MayL      float64   `json:"may_l,omitempty"`
	ThroughAt time.Time `json:"through_at,omitzero"`
	// SaltFood is what dissolved food added, mS/cm · L, until who feeds says it anew.
	SaltFood float64 `json:"salt_food,omitempty"`
	// SaltUndated tells that its plants' days were not held against a clock.
	SaltUndated bool `json:"salt_undated,omitempty"`
	// Part is what it gets of its line's water against its emitters' rating, 0
	// where that was never seen.
	Part float64 `json:"part,omitempty"`
	// Span is its account of litres since a look at rest, nil where there was none.
	Span *SpanMemory `json:"span,omitempty"`
	// Drying is the drying that its factor is learnt from, nil where there is none.
	Drying *DryingMemory `json:"drying,omitempty"`
	// Arrival is what of the water given was seen to arrive, nil where that is not
	// known.
	Arrival *ArrivalMemory `json:"arrival,omitempty"`
	// Odd is what spans came to against the book and which were no plant's, nil where none
	// was weighed.
	Odd *OddMemory `json:"odd,omitempty"`
	// Anchor is by how much its probes read too dry, nil where that was not found.
	Anchor *AnchorMemory `json:"anchor,omitempty"`
	// Doubt is that its probes are not believed, nil where they are and the book misses
	// nothing either.
	Doubt *DoubtMemory `json:"doubt,omitempty"`
	// Unmoved are its probes that did not move with water that must have reached them,
	// and have not since; NoAnswer tells that none of them did, so that it may not have
	// come. OwedL is what a person is to bring in place of its line then, L, nil where
	// nobody is asked: it is feeding's.
	Unmoved  []garden.ProbeID `json:"unmoved,omitempty"`
	NoAnswer bool             `json:"no_answer,omitempty"`
	OwedL    *float64         `json:"owed_l,omitempty"`
	// Shifts are the stage days that heat and the gardener put on the plants.
	Shifts []float64 `json:"shifts,omitempty"`
}

const (
	// mostForgotten is how old a memory may be for its water to count at all,
	// freshMemory for it to be more than a guess.
	mostForgotten = 48 * time.Hour
	freshMemory   = 6 * time.Hour
	// usualFor is how old one may be that says what was usual.
	usualFor = 14 * 24 * time.Hour
	// awaySD is how unsure a day unseen makes of the water, m³/m³.
	awaySD = 0.06
)

// Remember is what should be kept of a state at now.
func (p *Plan) Remember(st *State, now garden.Moment) Memory {
	m := Memory{Zones: make([]ZoneMemory, len(p.zones)), NextOrder: st.NextOrder}
	for i := range st.lines {
		if l := &st.lines[i]; l.phase == garden.Pulsing {
			m.Open = append(m.Open, l.order)
		}
	}
	if now.Synced {
		m.At = now.Wall
	}
	for i := range p.zones {
		z := &st.zones[i]
		r := &m.Zones[i]
		*r = ZoneMemory{Zone: p.zones[i].ID, Factor: z.water.Factor, FactorSD: math.Sqrt(z.water.VarFactor),
			Water: z.water.Mean, WaterSD: z.water.SD(), Known: z.known, ShortL: z.short, DepthL: z.depth.short, WashL: z.depth.wash, OverL: z.depth.over, SaltLoad: z.salts.load, SaltFood: z.salts.food, SaltUndated: z.salts.begun && !z.salts.dated, WashOn: z.salts.needL > 0, ThroughAt: z.salts.through, MayL: z.depth.may, Part: z.uneven.part, Span: z.span.remember(now.Mono, z.spent), Drying: z.rememberDrying(now.Mono), Arrival: z.arrival.remember(), Odd: z.odd.remember(), Anchor: z.anchor.remember(), Doubt: z.doubt.remember(now.Mono), NoAnswer: z.dumb}
		for _, pi := range p.zones[i].probes {
			// A pair that seems confused shows itself anew.
			if ps := &st.probes[pi]; ps.distrusted && !ps.confused {
				r.Unmoved = append(r.Unmoved, p.probes[pi].id)
			}
		}
		for k := range z.plants {
			r.Shifts = append(r.Shifts, z.plants[k].shift)
		}
	}
	m.Lines = p.rememberFlows(st, now.Mono)
	return m
}

// Recall brings a memory into a fresh state, and then replays what was done to
// the plants, oldest first. What is not finite or out of bounds is left out;
// what is old counts for less. events may be longer ago than the memory.
func (p *Plan) Recall(st *State, now garden.Moment, m Memory, events []garden.PlantEvent) {
	for k := range events {
		e := &events[k]
		if p.CheckPlant(e) != nil {
			continue // of a zone or a crop that is no more
		}
		z := &st.zones[p.zoneIndex(e.Zone)]
		if !e.On.IsZero() {
			p.growOn(&p.zones[p.zoneIndex(e.Zone)], z, civilDay(e.On), garden.DayWeather{})
		}
		mean := z.water
		p.plant(st, now, e)
		// What it did to the water is in the memory already, or long gone.
		z.water = mean
	}
	st.replanted = true
	st.events = st.events[:0]
	age := time.Duration(math.MaxInt64)
	if now.Synced && !m.At.IsZero() {
		age = max(0, now.Wall.Sub(m.At))
	}
	st.knownTill, st.timeless, st.unseen = m.At, m.At.IsZero() && len(m.Zones) > 0, 0
	st.knownOrders, st.openOrders = m.NextOrder, m.Open
	if age < math.MaxInt64 {
		st.unseen = min(age, mostForgotten)
	}
	for k := range m.Zones {
		i := p.zoneIndex(m.Zones[k].Zone)
		if i < 0 {
			continue
		}
		z, zp, r := &st.zones[i], &p.zones[i], &m.Zones[k]
		p.recallZone(z, zp, r, now.Mono, age, st.timeless, changedSince(events, r.Zone, m.At))
		if !st.timeless && slices.ContainsFunc(events, func(e garden.PlantEvent) bool { return e.Zone == r.Zone && e.On.After(m.At) }) {
			z.odd, z.arrival = odd{}, arrival{} // whatever was done, what was usual is so no more
		}
		z.salts.watch(z.runs(zp), garden.Moment{Wall: m.At, Synced: !st.timeless}, zp)
		if !st.timeless && z.place.mixFrom.After(m.At) {
			z.salts = salts{} // it was in the mix that is gone
		}
		if age <= wetDoubtFor || age == math.MaxInt64 { // a board that has no time yet goes on doubting
			p.recallUnmoved(st, i, &m.Zones[k])
		}
	}
	p.recallFlows(st, now.Mono, age, m.Lines)
	for i := range p.lines {
		p.balanceParts(st, i)
	}
}

// changedSince reports whether the plants or their place became others after t, of a time
// that is not known not.
func changedSince(events []garden.PlantEvent, zone garden.ZoneID, t time.Time) bool {
	if t.IsZero() {
		return false
	}
	for i := range events {
		e := &events[i]
		if e.Zone == zone && (e.Kind == garden.Planted || e.Kind == garden.Moved || e.Kind == garden.SeenAt) && e.On.After(t) {
			return true
		}
	}
	return false
}

func (p *Plan) recallZone(z *zoneState, zp *ZonePlan, r *ZoneMemory, now, age time.Duration, timeless, changed bool) {
	f := &z.water
	if garden.Finite(r.Factor) && garden.Finite(r.FactorSD) && r.Factor > 0 && r.FactorSD > 0 {
		days := 365.0
		switch {
		case timeless:
			days = 1 // it is written every hour: most likely the board was just off
		case age < 365*24*time.Hour:
			days = age.Hours() / 24
		}
		f.Factor = min(max(r.Factor, balance.MinFactor), balance.MaxFactor)
		f.VarFactor = min(max(r.FactorSD*r.FactorSD, 0.03*0.03)+factorDay*factorDay*days, 0.3*0.3)
		f.Cov = 0
	}
	if zp.compared && garden.Finite(r.Part) && r.Part > 0 {
		z.uneven.part, z.uneven.v = r.Part, unevenSD*unevenSD/4
	}
	if known := age < math.MaxInt64; !known || age <= wetDoubtFor {
		aged := age
		if !known {
			aged = 0 // a board that has no time yet goes on doubting
		}
		z.doubt.recall(r.Doubt, zp, now, aged)
		if z.doubt.on {
			z.short = max(z.short, z.doubt.missingL)
		}
	}
	if age <= usualFor || age == math.MaxInt64 { // of an unknown age: a board that has no time yet
		if z.salts.recall(r, zp); z.salts.begun && garden.Finite(r.MayL) && r.MayL > 0 {
			z.depth.may = min(r.MayL, needHolds*zp.VolumeL)
		}
		if age > mostForgotten && garden.Finite(r.OverL) {
			z.salts.leave(min(r.OverL, zp.holdsL())-staysShare*zp.VolumeL, zp) // has drained since
		}
	}
	usual := age <= usualFor || age == math.MaxInt64
	if usual {
		z.anchor.recall(r.Anchor, now)
	}
	if changed {
		z.unsureOfDemand()
	} else if usual {
		z.arrival.recall(r.Arrival, now)
		z.odd.recall(r.Odd, now, age <= mostForgotten || age == math.MaxInt64)
	}
	if p.byHeat && !changed && len(r.Shifts) == len(z.plants) {
		for k, s := range r.Shifts {
			if garden.Finite(s) {
				z.plants[k].shift = min(max(s, -400), 400)
			}
		}
	}
	if age > mostForgotten && garden.Finite(r.ShortL) {
		z.short = max(z.short, min(r.ShortL, zp.VolumeL)) // it has lost no less since
	}
	if age > mostForgotten || !garden.Finite(r.Water) || !garden.Finite(r.WaterSD) || r.Water <= 0 || r.Water > float64(zp.Porosity) || r.WaterSD <= 0 {
		return
	}
	away := awaySD * age.Hours() / 24
	f.Mean = r.Water
	f.VarMean = min(r.WaterSD*r.WaterSD+away*away, 0.15*0.15)
	f.Cov = 0
	z.known = r.Known && age <= freshMemory
	if z.known && !changed {
		z.span.recall(r.Span, now, age)
		z.recallDrying(r.Drying, now, age)
	}
	if garden.Finite(r.ShortL) && r.ShortL >= 0 {
		z.short = min(r.ShortL, zp.VolumeL)
	}
	if garden.Finite(r.DepthL) && r.DepthL > 0 && zp.counted() {
		z.depth.short, z.depth.begun = min(r.DepthL, zp.holdsL()), true
	}
	if garden.Finite(r.WashL) && r.WashL > 0 && zp.LeachingFraction > 0 {
		z.depth.wash = min(r.WashL, zp.holdsL())
	}
	if garden.Finite(r.OverL) && r.OverL > 0 && zp.counted() {
		z.depth.over, z.depth.begun = min(r.OverL, zp.holdsL()), true
		z.depth.lost(0, age, z, zp)
	}
}

// recallUnmoved has probes that did not move with water prove themselves after a restart
// as before it. What is not the zone's is left out.
func (p *Plan) recallUnmoved(st *State, i int, r *ZoneMemory) {
	if p.zones[i].line < 0 {
		return
	}
	for _, pi := range p.zones[i].probes {
		if slices.Contains(r.Unmoved, p.probes[pi].id) {
			st.probes[pi].distrusted, st.zones[i].dumb = true, r.NoAnswer
		}
	}
}

// Unmoved calls each with every probe that is not believed until it moves with water.
func (p *Plan) Unmoved(st *State, each func(garden.ProbeID)) {
	for i := range st.probes {
		if ps := &st.probes[i]; ps.distrusted && !ps.confused {
			each(p.probes[i].id)
		}
	}
}

// civilDay numbers the days of t's own zone, 1 January 1970 being 0.
func civilDay(t time.Time) int64 {
	_, offset := t.Zone()
	s := t.Unix() + int64(offset)
	day := s / 86400
	if s%86400 < 0 {
		day--
	}
	return day
}

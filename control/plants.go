package control

import (
	"fmt"
	"math"
	"strings"
	"time"

	"fabricpot/control/crop"
	"fabricpot/control/garden"
)

const (
	// regrowDay is the part of missing leaves that grows back in a day: half
	// in a fortnight. Judgement.
	regrowDay = 0.05
	// mulchKeeps is the share of a mulched surface's evaporation that mulch
	// stops. FAO-56 chapter 10 cuts Kc ini by half to four fifths under plastic
	// and less under straw (from memory); inside that, judgement.
	mulchKeeps = 0.6
	// unlikePlant is the doubt about the demand factor that a change of plants or
	// of place brings, as a standard deviation.
	unlikePlant = 0.15
	// stoodEmpty is for how long a pot stands empty until nothing is left of its salts, as
	// of a winter in the rain.
	stoodEmpty = 60 * 24 * time.Hour
	// newMixWater is what added mix holds, and how unsure that is, m³/m³.
	newMixWater, newMixSD = 0.35, 0.15
	// mostAway is for how many days growth is caught up with after a gap.
	mostAway = 400
)

// plantState is what became of one group of plants since the garden file.
type plantState struct {
	plantedOn time.Time // zero: taken as grown
	// seen: nobody knows when they came, and plantedOn is when they were first seen.
	seen  bool
	count float64
	gone  bool
	// shift is stage days over days by the calendar, from what the gardener saw
	// and from heat.
	shift float64
	// leaf is the share of the canopy that pruning left.
	leaf float64
}

// placeState is what became of a zone's surface, mix and place.
type placeState struct {
	mulch    float64 // share of the surface covered
	exposure float64
	// grownTo is the civil day growth has been reckoned to, 0 unknown.
	grownTo int64
	// stoodFrom is since when plants are known to have stood in its mix, mixFrom when that
	// was last all new, emptyFrom when all that grew in it was pulled: days, zero where
	// none is known. Who pulls a plant and sets another takes no salts out of the mix.
	stoodFrom, mixFrom, emptyFrom time.Time
}

// newPlace is a zone's place as the garden file has it.
func (z *ZonePlan) newPlace() placeState {
	s := placeState{exposure: z.exposure}
	for i := range z.plants {
		if on := z.plants[i].plantedOn; !on.IsZero() {
			s.stand(on)
		}
	}
	return s
}

// stand notes that plants stand in the zone on a day, whatever stood there before.
func (s *placeState) stand(day time.Time) {
	if s.stoodFrom.IsZero() || day.Before(s.stoodFrom) || !s.emptyFrom.IsZero() && day.Sub(s.emptyFrom) > stoodEmpty {
		s.stoodFrom = day
	}
	s.emptyFrom = time.Time{}
}

func (z *ZonePlan) newPlants() []plantState {
	out := make([]plantState, len(z.plants))
	for i := range z.plants {
		out[i] = z.plants[i].asInFile()
	}
	return out
}

// asInFile are the plants as the garden file has them.
func (pl *plantPlan) asInFile() plantState {
	return plantState{plantedOn: pl.plantedOn, count: pl.count, leaf: 1}
}

// empty tells that everything that grew in the zone was pulled.
func (z *zoneState) empty() bool {
	for i := range z.plants {
		if !z.plants[i].gone {
			return false
		}
	}
	return len(z.plants) > 0
}

// CheckPlant refuses an event that this garden's plan can't take.
func (p *Plan) CheckPlant(e *garden.PlantEvent) error {
	if err := e.Check(); err != nil {
		return err
	}
	i := p.zoneIndex(e.Zone)
	if i < 0 {
		return fmt.Errorf("plant event: no zone %q in the garden file", e.Zone)
	}
	zp := &p.zones[i]
	if e.Kind == garden.Mulched || e.Kind == garden.ToppedUp || e.Kind == garden.Moved {
		if e.Kind == garden.ToppedUp && e.Litres > zp.VolumeL {
			return fmt.Errorf("plant event: %.1f L of mix added to a zone of %.1f L", e.Litres, zp.VolumeL)
		}
		return nil
	}
	found := false
	for k := range zp.plants {
		if !zp.plants[k].named(e.Crop) {
			continue
		}
		found = true
		if e.Kind == garden.SeenAt {
			if _, err := zp.plants[k].crop.BeginsAt(e.Stage); err != nil {
				return err
			}
		}
	}
	if !found {
		return fmt.Errorf("plant event: %s grows no %q; put it under the zone's plants in the garden file", e.Zone, e.Crop)
	}
	return nil
}

func (pl *plantPlan) named(name string) bool {
	return name == "" || strings.EqualFold(pl.crop.Name, name)
}

// plant takes in what a person did to the plants of a zone.
func (p *Plan) plant(st *State, now garden.Moment, e *garden.PlantEvent) {
	if p.CheckPlant(e) != nil {
		return
	}
	i := p.zoneIndex(e.Zone)
	z, zp := &st.zones[i], &p.zones[i]
	when := e.On
	if when.IsZero() {
		when = now.Wall
	}
	// What was usual is so no more.
	z.odd, z.arrival = odd{}, arrival{}
	y, m, d := when.Date()
	day := time.Date(y, m, d, 0, 0, 0, 0, when.Location())
	switch e.Kind {
	case garden.Mulched:
		z.place.mulch = e.Share
	case garden.ToppedUp:
		f := e.Litres / zp.VolumeL
		z.water.Mean += f * (newMixWater - z.water.Mean)
		z.water.Forget(f * newMixSD * f * newMixSD)
		z.span.open = false
		if e.AllNew(zp.VolumeL) {
			z.salts, z.wasSalts, z.place.stoodFrom, z.place.mixFrom = salts{}, salts{}, time.Time{}, time.Time{}
			if now.Synced || !e.On.IsZero() { // else nobody knows of when it is
				z.place.stoodFrom, z.place.mixFrom = day, when
			}
		}
	case garden.Moved:
		z.place.exposure = crop.ExposureFactor(e.Exposure)
		z.unsureOfDemand()
	}
	for k := range zp.plants {
		ps := &z.plants[k]
		if !zp.plants[k].named(e.Crop) {
			continue
		}
		switch e.Kind {
		case garden.Planted:
			*ps = plantState{plantedOn: day, count: zp.plants[k].count, leaf: 1}
			if e.Count > 0 {
				ps.count = float64(e.Count)
			}
			z.place.stand(day)
			z.unsureOfDemand()
		case garden.Pruned, garden.Harvested:
			ps.leaf = max(0.05, ps.leaf*(1-e.Share))
			z.span.open = z.span.open && e.Share == 0
		case garden.Pulled:
			z.span.open, z.drying = false, false
			switch {
			case ps.cameAfter(when): // it is told late
			case zp.plants[k].plantedSince(when):
				*ps = zp.plants[k].asInFile() // what was pulled are others, that stood there before
			default:
				ps.gone = true
			}
		case garden.SeenAt:
			age := crop.Age{Days: math.Inf(1)}
			if !ps.plantedOn.IsZero() {
				age.Days = max(0, when.Sub(ps.plantedOn).Hours()/24+ps.shift)
			} else {
				// Taken as grown so far: mid-season.
				ps.plantedOn, ps.seen = day, true
				z.place.stand(day)
				age.Days, _ = zp.plants[k].crop.BeginsAt(crop.Mid)
				ps.shift = age.Days
			}
			if seen, err := zp.plants[k].crop.Seen(age, e.Stage); err == nil {
				ps.shift += seen.Days - age.Days
			}
		}
	}
	if e.Kind == garden.Pulled {
		z.emptied(zp, when, day)
	}
	st.note(Event{Kind: PlantsChanged, At: now, Zone: zp.ID, Line: zp.Line, A: float64(e.Kind)})
}

// unsureOfDemand is for when the plant or its place is another: half of what was
// learnt stands, and what dries from now on is not held against it.
func (z *zoneState) unsureOfDemand() {
	z.water.Factor = 1 + (z.water.Factor-1)/2
	z.water.Drift(unlikePlant * unlikePlant)
	z.water.Forget(0)
	z.span.open, z.drying = false, false
	if !z.doubt.wet {
		z.doubt = z.doubt.ended()
	}
}

// growOn lets days go by for the zone's plants: leaves grow back, and where the
// garden asks for it heat makes stages longer or shorter.
func (p *Plan) growOn(z *ZonePlan, zs *zoneState, day int64, today garden.DayWeather) {
	if day == 0 || day == zs.place.grownTo {
		return
	}
	days := float64(min(max(day-zs.place.grownTo, 0), mostAway))
	if zs.place.grownTo == 0 {
		days = 0
	}
	zs.place.grownTo = day
	for i := range zs.plants {
		ps := &zs.plants[i]
		ps.leaf = 1 - (1-ps.leaf)*math.Pow(1-regrowDay, days)
		if p.byHeat && today.TMinC.Known && today.TMaxC.Known {
			// After a gap the days not seen count as today.
			ps.shift += days * (z.plants[i].crop.Progress(today.TMinC.Value, today.TMaxC.Value) - 1)
		}
	}
}

// grow sets what the plants of the zone are today.
func (p *Plan) grow(z *ZonePlan, zs *zoneState, now garden.Moment) {
	canopy, use, root, empty := 0.0, 0.0, 0.0, zs.empty()
	for i := range z.plants {
		pl, ps := &z.plants[i], &zs.plants[i]
		if ps.gone && !empty {
			continue
		}
		// A plant of unknown age is taken as grown: it drinks the most.
		g := pl.crop.Grown()
		if now.Synced && !ps.plantedOn.IsZero() {
			days := now.Wall.Sub(ps.plantedOn).Hours() / 24
			if days < 0 {
				continue
			}
			g = pl.crop.At(days + ps.shift)
		}
		if root = max(root, g.RootFraction); ps.gone {
			// An empty pot's marks stay where its last roots had them.
			continue
		}
		m2 := g.CanopyM2 * ps.leaf
		if own := pl.canopyM2; own.Known && pl.crop.CanopyM2 > 0 {
			m2 *= own.Value / pl.crop.CanopyM2
		}
		canopy += m2 * ps.count
		use += g.Kc * m2 * ps.count
	}
	if len(z.plants) == 0 {
		root = 1
	}
	zs.canopyM2 = canopy
	zs.root = min(max(root, 0.1), 1)
	zs.band = z.band(zs.root)
	zs.lossPerMM = (use + z.bareMM(canopy, zs.place.mulch)) * zs.place.exposure
}

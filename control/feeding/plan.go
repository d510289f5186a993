package feeding

import (
	"fmt"
	"slices"
	"sort"
	"time"

	"fabricpot/control"
	"fabricpot/control/crop"
	"fabricpot/control/feed"
	"fabricpot/control/garden"
)

// Plan is what never changes: one entry per zone in the garden's order. It is
// safe for concurrent use.
type Plan struct {
	g     *garden.Garden
	zones []zonePlan
	at    map[garden.ZoneID]int
	lines map[garden.LineID]linePlan
}

type zonePlan struct {
	id, name string
	zone     garden.ZoneID
	line     garden.LineID
	spec     garden.FeedPlan
	// feed is nil where the zone is not fed.
	feed            *feed.Plan
	volumeL, areaM2 float64
	hunger          feed.Hunger
	plants          float64
	planted         time.Time
	stages          [4]int
	starter         feed.NPK
	lower, capacity float64
	// slope is the rise of conductivity per 100 ppm N of its feed, mS/cm.
	slope             float64
	probes, probeFrom int
	injector          garden.Injector
	shares            []share // the other zones of its injected line
	byNeed            bool
	led               bool // fed along with the line's leading zone
	// weak tells that the zone is fed with every watering.
	weak                bool
	portionAt           [4]feed.Portion
	ppmAt               [4]feed.NPK
	feedMSAt, addedMSAt [4]garden.Measured
}

// share is a zone of a line and the litres it gets for each litre that another
// gets, or that flows through the line.
type share struct {
	zone int
	per  float64
}

type linePlan struct {
	flowLPH float64
	// lead is the zone whose feed the line carries, -1 for none.
	lead int
	// zones are those it waters, fed or not, in the garden's order, and what each
	// gets of a litre through the line.
	zones []share
}

// joinForDays is how far past its day a feed may wait for the next watering.
// After that it only needs room in the pot: a pot that is watered ahead of the
// day's heat would have none for long.
const joinForDays = 0.5

// overPour is by how much a dose may come out over what was ordered: without
// it two doses, which the cap is meant to allow, would not fit into it by a few
// millilitres, and every second feed would wait for the cap's window.
const overPour = 1.05

// NewPlan resolves a garden's feeding from what the water side makes of it. A
// garden in which nothing is fed has a plan too: it may have water and rounds
// to do by hand.
func NewPlan(g *garden.Garden, water *control.Plan) (*Plan, error) {
	p := &Plan{g: g, at: map[garden.ZoneID]int{}, lines: map[garden.LineID]linePlan{}}
	for i := range g.Lines {
		p.lines[g.Lines[i].ID] = linePlan{flowLPH: g.Lines[i].FlowLPH(), lead: -1}
	}
	var err error
	probe := 0
	g.EachZone(func(pot *garden.Pot, z *garden.Zone) {
		i := len(p.zones)
		zp := p.newZone(pot, z, &water.Zones()[i])
		zp.probeFrom, zp.probes = probe, len(z.Probes)
		probe += len(z.Probes)
		if z.Feed.Fed() && err == nil {
			err = p.resolve(pot, z, &zp, i, &water.Zones()[i])
		}
		p.at[z.ID] = i
		p.zones = append(p.zones, zp)
	})
	if err != nil {
		return nil, err
	}
	p.share()
	return p, nil
}

func (p *Plan) newZone(pot *garden.Pot, z *garden.Zone, w *control.ZonePlan) zonePlan {
	zp := zonePlan{
		id: string(z.ID), name: z.Name, zone: z.ID, line: z.Line, spec: z.Feed,
		byNeed: w.LeachByNeed, volumeL: w.VolumeL, areaM2: w.AreaM2,
		lower: float64(w.LowerLimit), capacity: float64(w.Capacity),
		hunger: feed.ZoneHunger(z), plants: float64(feed.PlantCount(z)), stages: [4]int{30, 40, 40, 30},
	}
	if zp.name == "" {
		zp.name = zp.id
	}
	if m, ok := p.g.Mix(pot.Mix); ok {
		zp.starter = feed.StarterCharge(m, zp.volumeL)
	}
	for _, pl := range z.Plants {
		c, ok := crop.Find(p.g.Crops, pl.Crop)
		if !ok {
			continue
		}
		// The oldest of the plants sets the stage.
		if zp.planted.IsZero() || !pl.PlantedOn.IsZero() && pl.PlantedOn.Before(zp.planted) {
			zp.planted, zp.stages = pl.PlantedOn, c.StageDays
		}
	}
	return zp
}

func (p *Plan) resolve(pot *garden.Pot, z *garden.Zone, zp *zonePlan, i int, w *control.ZonePlan) error {
	fp, err := feed.Resolve(p.g, pot, z, float64(w.Capacity), float64(w.Refill), float64(w.LowerLimit), w.PulseL)
	if err != nil {
		return err
	}
	fp.Timing.JoinForDays = joinForDays
	fp.CapL *= overPour
	for s := feed.Initial; s <= feed.Late; s++ {
		if zp.portionAt[s], err = feed.PortionFor(z.Feed, zp.volumeL, zp.hunger, s); err != nil {
			return fmt.Errorf("zone %q: %w", z.ID, err)
		}
	}
	if line, ok := p.g.Line(fp.Line); ok && (!line.Injector.Switched || line.Valve.Kind == garden.RemoteValve) {
		// Nothing here can tell feed from water on this line, or end the one
		// with the other: a person feeds it.
		fp.Line = ""
	}
	if zp.weak = z.Feed.EveryWatering.Known; zp.weak && fp.Line == "" {
		return fmt.Errorf("zone %q: feed with every watering needs an injector with a pin on a line whose valve has one: without, leave out every-watering and it is fed at intervals by hand", z.ID)
	}
	if fp.Line != "" {
		l := p.lines[fp.Line]
		if l.lead >= 0 {
			// Another zone of the line leads; this one is fed along with it.
			zp.led = true
		} else {
			l.lead = i
			p.lines[fp.Line] = l
			line, _ := p.g.Line(fp.Line)
			zp.injector = line.Injector
			if most := line.Injector.MaxRun; most > time.Minute {
				// The sequence allows a pulse half as long again and a minute.
				fp.PulseL = min(fp.PulseL, fp.LineShare*fp.FlowLPH*(most-time.Minute).Hours()/1.5)
			}
			// One stock, one strength: that of the stage that needs most.
			for s := range zp.portionAt {
				zp.portionAt[s].NPPM = zp.portionAt[feed.Middle].NPPM
			}
		}
	}
	zp.feed, zp.slope = fp, feed.UsualSlope
	for s := range zp.portionAt {
		b, err := feed.Mix(p.g, z.Feed.Products, zp.portionAt[s].NPPM)
		if err != nil {
			return fmt.Errorf("zone %q: %w", z.ID, err)
		}
		zp.ppmAt[s] = b.PPM()
		if added := b.AddedEC(); added.Known {
			zp.addedMSAt[s] = added
			if b.PPM().N > 0 {
				zp.slope = 100 * added.Value / b.PPM().N
			}
			zp.feedMSAt[s] = garden.Known(added.Value + p.g.Supply.ECmS.Or(0))
		}
	}
	return nil
}

// share works out what of each line's water its zones get, and what the others
// get when a line is fed for its leading one.
func (p *Plan) share() {
	for k := range p.g.Lines {
		line := &p.g.Lines[k]
		l := p.lines[line.ID]
		for _, o := range line.Outlets {
			i := p.Index(o.Zone)
			has := slices.ContainsFunc(l.zones, func(s share) bool { return s.zone == i })
			if per := line.ShareOf(o.Zone); i >= 0 && per > 0 && !has {
				l.zones = append(l.zones, share{zone: i, per: per})
			}
		}
		sort.Slice(l.zones, func(i, k int) bool { return l.zones[i].zone < l.zones[k].zone })
		p.lines[line.ID] = l
		if l.lead < 0 {
			continue
		}
		lead := &p.zones[l.lead]
		for _, s := range l.zones {
			if s.zone != l.lead && lead.feed.LineShare > 0 {
				lead.shares = append(lead.shares, share{zone: s.zone, per: s.per / lead.feed.LineShare})
			}
		}
	}
}

// Feeds reports whether any zone is fed.
func (p *Plan) Feeds() bool {
	for i := range p.zones {
		if p.zones[i].feed != nil {
			return true
		}
	}
	return false
}

// Fed tells whether a zone is fed by a sequence of its own, and through which
// line; empty means by hand.
func (p *Plan) Fed(i int) (garden.LineID, bool) {
	if i < 0 || i >= len(p.zones) || p.zones[i].feed == nil {
		return "", false
	}
	return p.zones[i].feed.Line, true
}

// Index is the number of a zone in the garden's order, or -1.
func (p *Plan) Index(id garden.ZoneID) int {
	if i, ok := p.at[id]; ok {
		return i
	}
	return -1
}

// Name is a zone's name for people.
func (p *Plan) Name(i int) string { return p.zones[i].name }

// stageOf is the stage of a zone's plants. Plants without a day of planting
// count as grown.
func (z *zonePlan) stageOf(at time.Time) feed.Stage {
	if z.planted.IsZero() {
		return feed.Middle
	}
	s, _ := feed.StageAt(at.Sub(z.planted).Hours()/24, z.stages)
	return s
}

// Recipe is what one feed of a zone is mixed from; with an injector the stock's
// strength is in it.
func (p *Plan) Recipe(i int, s feed.Stage) (feed.Recipe, error) {
	z := &p.zones[i]
	po := z.portionAt[min(s, feed.Late)]
	return feed.NewRecipe(p.g, z.spec.Products, po.NPPM, po.Litres, z.injector)
}

// Strength is the strength of a feeding order's solution through a line, mg N
// per litre; 0 for a line that carries none.
func (p *Plan) Strength(id garden.LineID) float64 {
	l, ok := p.lines[id]
	if !ok || l.lead < 0 {
		return 0
	}
	return p.zones[l.lead].portionAt[feed.Middle].NPPM
}

// Capacity is a zone's water fraction at container capacity.
func (p *Plan) Capacity(i int) float64 { return p.zones[i].capacity }

package control

import (
	"time"

	"fabricpot/control/crop"
	"fabricpot/control/garden"
	"fabricpot/control/medium"
	"fabricpot/control/weather"
)

// Plan is everything about a garden that Step needs and that never changes. It
// is safe for concurrent use.
type Plan struct {
	site   garden.Site
	supply garden.Supply
	limits garden.Limits
	zones  []ZonePlan
	lines  []LinePlan
	probes []probePlan
	zoneAt map[garden.ZoneID]int
	lineAt map[garden.LineID]int
	place  weather.Place
	byHeat bool
	// profiles are kept for a plan like this one; nothing in them changes.
	profiles map[profileKey]*medium.Profile
}

// ZonePlan is what the plan understood of one zone.
type ZonePlan struct {
	ID         garden.ZoneID
	Pot        garden.PotID
	Name       string
	Line       garden.LineID
	HandTended bool

	// VolumeL is the zone's mix, AreaM2 its surface, WallM2 its share of the
	// fabric wall, HeightCM the depth of mix.
	VolumeL, AreaM2, WallM2, HeightCM float64

	// Porosity, Capacity, LowerLimit are m³/m³; AirSpace is Porosity−Capacity.
	Porosity, Capacity, LowerLimit       garden.WaterFraction
	CapacityMeasured, LowerLimitMeasured bool
	AirSpace                             float64

	// P is the depletion fraction: the lowest of the zone's crops.
	P float64
	// Refill is where watering starts once the roots fill the zone, Stop what
	// it aims at. While the roots are young the refill point lies nearer to
	// Capacity, since they reach less water.
	Refill, Stop garden.WaterFraction
	RefillSet    bool

	// RefillL is litres from Refill to Stop, leaching included.
	RefillL float64
	// PulseL is one pulse for this zone, FirstPulseL the first one into a mix
	// dry enough to repel water, Pulses how many make RefillL.
	PulseL, FirstPulseL float64
	Pulses              int
	Soak                time.Duration
	// FlowLPH is what the line gives this zone, L/h; PulseTime one pulse at it.
	FlowLPH   float64
	PulseTime time.Duration
	// LeachingFraction is the share of water meant to drain, LeachByNeed that as much
	// drains in its place as salts ask for.
	LeachingFraction float64
	LeachByNeed      bool
	// DepthUnseen tells that all its probes stand in the upper third of much mix.
	DepthUnseen bool
	// PeakDailyL is the zone's loss on a hot, dry, windy day with grown plants.
	PeakDailyL float64

	line  int // -1: hand-tended
	share float64
	// compared tells that it shares its line with other zones, and that what all
	// their probes read is pinned by points in the mix.
	compared  bool
	probes    []int
	plants    []plantPlan
	exposure  float64
	survivalL float64
	// drain is the time constant at which it loses what is over capacity.
	drain time.Duration
	// joint reads several probes together, nil where there are fewer than two.
	joint *medium.Joint
	// washing is what its plants bear of the supply's salts, saltCost what they cost
	// when they are washed out, as a share of the harvest of saltCrop.
	washing  washing
	saltCost float64
	saltCrop string
	// reach is the available water the roots hold at 0, 10 … 100 % of the
	// depth, m³/m³ of the whole zone, in the drained pot.
	reach [11]float64
}

// LinePlan is what the plan understood of one line.
type LinePlan struct {
	ID      garden.LineID
	FlowLPH float64
	DU      float64
	MaxOn   time.Duration
	// PeakDailyL is the most the line may have to give in a day for the
	// neediest of its zones, DryFillL what it gives to fill one from its lower
	// limit to capacity, CapL the most that may be ordered in any 24 hours,
	// EstimatedL the part of it that may be ordered without a trustworthy probe.
	PeakDailyL, DryFillL, CapL, EstimatedL float64
	zones                                  []int
	soak                                   time.Duration
}

// probePlan is what one probe's reading means.
type probePlan struct {
	id   garden.ProbeID
	zone int
	// profile is nil where none could be made: the probe then decides nothing.
	profile *medium.Profile
	// rel is the probe's depth as a share of the mix's depth, 0 top, 1 floor.
	rel float64
	// atCapacity is what a perfect probe there reads in the drained pot.
	atCapacity float64
	// wet is the reading over which water has reached the probe faster than it
	// drains; it stops a watering where the probe is near the floor.
	wet  float64
	deep bool
	// levelSD is how far off all its readings may be together, m³/m³: a curve
	// that was not made with this probe in this mix has a gain of its own.
	levelSD float64
}

type plantPlan struct {
	crop      crop.Crop
	count     float64
	plantedOn time.Time
	canopyM2  garden.Measured
}

// Zones returns what the plan understood, in the garden's order. The caller
// must not change it.
func (p *Plan) Zones() []ZonePlan { return p.zones }

// Lines returns what the plan understood of the lines, in the garden's order.
// The caller must not change it.
func (p *Plan) Lines() []LinePlan { return p.lines }

// PeakNeedsL lists each line's PeakDailyL, for who keeps caps of their own.
func (p *Plan) PeakNeedsL() map[garden.LineID]float64 {
	return p.perLine(func(l *LinePlan) float64 { return l.PeakDailyL })
}

// DryFillsL lists each line's DryFillL.
func (p *Plan) DryFillsL() map[garden.LineID]float64 {
	return p.perLine(func(l *LinePlan) float64 { return l.DryFillL })
}

func (p *Plan) perLine(f func(*LinePlan) float64) map[garden.LineID]float64 {
	out := make(map[garden.LineID]float64, len(p.lines))
	for i := range p.lines {
		out[p.lines[i].ID] = f(&p.lines[i])
	}
	return out
}

// zoneIndex returns the number of a zone, or -1.
func (p *Plan) zoneIndex(id garden.ZoneID) int {
	if i, ok := p.zoneAt[id]; ok {
		return i
	}
	return -1
}

// zoneAfter is zoneIndex for who tells of all zones in the garden's order, tick for tick:
// the zone after the one that st was last told of is looked at first. The order alone
// hangs on that, no answer.
func (p *Plan) zoneAfter(st *State, id garden.ZoneID) int {
	if i := st.toldNext; i < len(p.zones) && p.zones[i].ID == id {
		st.toldNext++
		return i
	}
	i := p.zoneIndex(id)
	st.toldNext = i + 1
	return i
}

func (p *Plan) lineIndex(id garden.LineID) int {
	if i, ok := p.lineAt[id]; ok {
		return i
	}
	return -1
}

// band is the water between capacity and the refill point for roots that reach
// the share root of the depth, m³/m³ of the whole zone.
func (z *ZonePlan) band(root float64) float64 {
	root = min(max(root, 0.1), 1)
	if z.RefillSet {
		return float64(z.Capacity-z.Refill) * root
	}
	x := root * 10
	i := min(int(x), 9)
	reach := z.reach[i] + (z.reach[i+1]-z.reach[i])*(x-float64(i))
	return max(z.P*reach, minBand*root)
}

package control

import (
	"errors"
	"fmt"
	"math"
	"time"

	"fabricpot/control/crop"
	"fabricpot/control/garden"
	"fabricpot/control/medium"
	"fabricpot/control/weather"
)

const (
	// minBand is the least water between capacity and the refill point, m³/m³:
	// less than that and a probe's error starts waterings.
	minBand = 0.06
	// stopMargin keeps the stop point under capacity, so that a refill does
	// not end in the saucer.
	stopMargin = 0.008
	// peakEToMM is the reference evapotranspiration of a hot, dry, windy day
	// for which lines are sized, mm. Common practice, no source.
	peakEToMM = 8
	// pulseAirShare is the part of a drained pot's air that one pulse may fill.
	pulseAirShare = 0.25
	// firstPulseShare of a dose goes first into a mix that repels water;
	// 10–20 % is the trade's rule (from memory).
	firstPulseShare = 0.15
	// defaultP stands where a zone has no known crop (FAO-56 Table 22 gives
	// 0.30 for the thirsty vegetables; from memory).
	defaultP = 0.30
	// unpinnedSD is the level's doubt where a probe's curve was typed in and not
	// made from points weighed or soaked in the mix, m³/m³. Judgement.
	unpinnedSD = 0.04
	// deepFrom is how far down a probe must be to see drainage coming.
	deepFrom = 2.0 / 3
)

// NewPlan reads the garden. Problems that are Fatal refuse to start and make
// the error; the others are warnings for the gardener.
func NewPlan(g *garden.Garden) (*Plan, []garden.Problem, error) { return NewPlanLike(nil, g) }

// NewPlanLike is NewPlan for a garden much like that of an earlier plan, which may
// be nil: what is dear to make and the same in both is taken from there. The plan
// is the same either way.
func NewPlanLike(earlier *Plan, g *garden.Garden) (*Plan, []garden.Problem, error) {
	if g == nil {
		return nil, nil, errors.New("control: no garden given")
	}
	p := &Plan{
		site: g.Site, supply: g.Supply, limits: g.Limits, place: weather.PlaceOf(g.Site), byHeat: g.StagesByHeat,
		zoneAt: map[garden.ZoneID]int{}, lineAt: map[garden.LineID]int{}, profiles: map[profileKey]*medium.Profile{},
	}
	b := builder{g: g, p: p, lines: map[garden.LineID]*garden.Line{}}
	if earlier != nil {
		b.known = earlier.profiles
	}
	for i := range g.Lines {
		b.line(&g.Lines[i])
	}
	g.EachZone(b.zone)
	b.finishLines()
	b.judge()
	for _, pr := range b.problems {
		if pr.Fatal {
			return nil, b.problems, fmt.Errorf("control: %s: %s", pr.Path, pr.What)
		}
	}
	return p, b.problems, nil
}

type builder struct {
	g        *garden.Garden
	p        *Plan
	problems []garden.Problem
	lines    map[garden.LineID]*garden.Line
	known    map[profileKey]*medium.Profile // an earlier plan's, only read
}

// profileKey is all that a profile is made of. Making one is most of the cost of
// a plan, and in a garden many probes stand in the same mix in the same way.
type profileKey struct {
	retention garden.Retention
	shape     garden.Shape
	heightCM  float64
}

// profile is medium.NewProfile, once for each key.
func (b *builder) profile(r garden.Retention, c medium.Curve, s garden.Shape, heightCM float64) (*medium.Profile, error) {
	key := profileKey{r, s, heightCM}
	if p, ok := b.p.profiles[key]; ok {
		return p, nil
	}
	p, err := b.known[key], error(nil)
	if p == nil {
		p, err = medium.NewProfile(c, s, heightCM)
	}
	if err == nil {
		b.p.profiles[key] = p
	}
	return p, err
}

func (b *builder) fatal(path, format string, args ...any) {
	b.problems = append(b.problems, garden.Problem{Path: path, What: fmt.Sprintf(format, args...), Fatal: true})
}

func (b *builder) warn(path, format string, args ...any) {
	b.problems = append(b.problems, garden.Problem{Path: path, What: fmt.Sprintf(format, args...)})
}

// zonePath is the zone's place in the garden file. A pot's only zone carries
// the pot's own id and is called main.
func zonePath(z *garden.Zone) string {
	name := "main"
	if prefix := string(z.Pot) + "-"; len(z.ID) > len(prefix) && string(z.ID[:len(prefix)]) == prefix {
		name = string(z.ID[len(prefix):])
	}
	return fmt.Sprintf("pots.%s.zones.%s", z.Pot, name)
}

func (b *builder) zone(pot *garden.Pot, z *garden.Zone) {
	path := zonePath(z)
	zp := ZonePlan{
		ID: z.ID, Pot: pot.ID, Name: z.Name, Line: z.Line, HandTended: z.Line == "",
		VolumeL: z.VolumeL(pot), HeightCM: pot.Shape.HeightCM, LeachingFraction: min(max(z.LeachingFraction, 0), 0.4),
		line: -1, exposure: crop.ExposureFactor(z.Exposure),
	}
	// The zone is numbered even when it is refused, so that later zones and
	// probes keep the garden's numbers.
	number := len(b.p.zones)
	defer func() {
		b.p.zoneAt[z.ID] = number
		b.p.zones = append(b.p.zones, zp)
	}()
	mix, ok := b.g.Mix(pot.Mix)
	if !ok {
		b.fatal("pots."+string(pot.ID)+".mix", "mix %q is not defined", pot.Mix)
		return
	}
	curve, err := medium.NewCurve(mix.Retention)
	if err != nil {
		b.fatal("mixes."+string(mix.ID)+".retention", "%v", err)
		return
	}
	water, err := medium.Resolve(curve, pot.Shape, z.Capacity, z.LowerLimit)
	if err != nil {
		b.fatal(path, "%v", err)
		return
	}
	if zp.VolumeL <= 0 || !garden.Finite(zp.VolumeL) {
		b.fatal(path, "holds %v L of mix, expected over 0", zp.VolumeL)
		return
	}
	zp.Porosity, zp.AirSpace = garden.WaterFraction(water.Porosity), water.AirSpace
	zp.Capacity, zp.LowerLimit = garden.WaterFraction(water.Capacity), garden.WaterFraction(water.LowerLimit)
	zp.CapacityMeasured, zp.LowerLimitMeasured = water.CapacityMeasured, water.LowerLimitMeasured
	zp.AreaM2 = z.Share * discM2(pot.Shape.TopDiameterCM)
	zp.WallM2 = z.Share * math.Pi * (pot.Shape.TopDiameterCM + pot.Shape.BottomDiameterCM) / 2 * pot.Shape.HeightCM / 1e4
	zp.drain = time.Duration(float64(drainFor) * math.Pow(pot.Shape.HeightCM/20, drainPower))
	zp.survivalL = b.g.Limits.SurvivalShare * zp.VolumeL
	b.plants(path, z, &zp)
	b.reach(curve, pot.Shape, &zp)
	b.points(path, z, &zp)
	b.probesOf(path, pot, z, mix.Retention, curve, number, &zp)
	b.seesDepth(path, &zp)
	zp.washing = washingOf(b.g, z, &zp)
	if zp.LeachByNeed = zp.washing.waterMS > 0; zp.LeachByNeed {
		zp.saltCost, zp.saltCrop = crop.SaltCost(z, b.g.Crops, zp.washing.at/zp.fullL())
		// What salts ask for drains in place of a share, which asks too early and for
		// pots that bear them.
		zp.LeachingFraction = 0
	}
	zp.PeakDailyL = peakDaily(&zp)
	if z.Line != "" {
		i := b.p.lineIndex(z.Line)
		if i < 0 {
			b.fatal(path+".line", "line %q is not defined", z.Line)
			return
		}
		l := b.lines[z.Line]
		zp.line, zp.share = i, l.ShareOf(z.ID)
		zp.FlowLPH = l.FlowLPH() * zp.share
		if zp.FlowLPH <= 0 {
			b.fatal(path+".line", "line %q has no emitters in this zone", z.Line)
			return
		}
	}
	b.pulses(path, &zp)
}

func discM2(diameterCM float64) float64 { return math.Pi / 4 * diameterCM * diameterCM / 1e4 }

func (b *builder) plants(path string, z *garden.Zone, zp *ZonePlan) {
	zp.P = math.Inf(1)
	for _, pl := range z.Plants {
		c, ok := crop.Find(b.g.Crops, pl.Crop)
		if !ok {
			b.fatal(path+".plants", "crop %q is neither known nor defined under crops", pl.Crop)
			continue
		}
		if c.P > 0 {
			zp.P = min(zp.P, c.P)
		}
		zp.plants = append(zp.plants, plantPlan{crop: c, count: float64(pl.Count), plantedOn: pl.PlantedOn, canopyM2: pl.CanopyM2})
	}
	if math.IsInf(zp.P, 1) {
		zp.P = defaultP
	}
}

// reach fills in what roots of each depth hold between capacity and the lower
// limit, from the top of the drained pot down. Young roots stand in its driest
// part.
func (b *builder) reach(c medium.Curve, s garden.Shape, zp *ZonePlan) {
	const slices = 200
	limit := medium.LowerLimit(c)
	var sum, volume float64
	zp.reach[0] = 0
	for i := range slices {
		top := float64(i) + 0.5 // from the surface
		height := s.HeightCM * (1 - top/slices)
		d := s.BottomDiameterCM + (s.TopDiameterCM-s.BottomDiameterCM)*height/s.HeightCM
		sum += d * d * max(0, c.Theta(height)-limit)
		volume += d * d
		if (i+1)%(slices/10) == 0 {
			zp.reach[(i+1)/(slices/10)] = sum
		}
	}
	// What the gardener measured wins: scale the whole to it.
	scale := 0.0
	if zp.reach[10] > 0 {
		scale = float64(zp.Capacity-zp.LowerLimit) / zp.reach[10]
	}
	for i := range zp.reach {
		zp.reach[i] *= scale
	}
}

func (b *builder) points(path string, z *garden.Zone, zp *ZonePlan) {
	cc := float64(zp.Capacity)
	band := zp.band(1)
	if z.RefillPoint.Known {
		if z.RefillPoint.Value >= cc {
			b.fatal(path+".refill", "refill point %.1f %% is not under the container capacity of %.1f %%", 100*z.RefillPoint.Value, 100*cc)
			return
		}
		band = cc - z.RefillPoint.Value
		zp.RefillSet = true
		if z.RefillPoint.Value < float64(zp.LowerLimit) {
			b.warn(path+".refill", "refill point %.1f %% is under the lower limit of %.1f %%: the plants will thirst before they are watered", 100*z.RefillPoint.Value, 100*float64(zp.LowerLimit))
		}
	}
	if !zp.RefillSet && band > cc-float64(zp.LowerLimit) {
		b.warn(path, "holds only %.1f %% of its volume as available water, less than probes can steer by (%.0f %%): a mix that holds more would be kinder", 100*(cc-float64(zp.LowerLimit)), 100*minBand)
	}
	zp.Refill = garden.WaterFraction(cc - band)
	stop := cc - min(stopMargin, 0.1*band)
	if z.StopPoint.Known {
		stop = z.StopPoint.Value
		switch {
		case stop > float64(zp.Porosity):
			b.fatal(path+".stop", "stop point %.1f %% is over the porosity of %.1f %%", 100*stop, 100*float64(zp.Porosity))
			return
		case stop <= float64(zp.Refill):
			b.fatal(path+".stop", "stop point %.1f %% is not over the refill point of %.1f %%", 100*stop, 100*float64(zp.Refill))
			return
		case stop > cc:
			b.warn(path+".stop", "stop point %.1f %% is over the container capacity of %.1f %%: what is over drains", 100*stop, 100*cc)
		}
	}
	zp.Stop = garden.WaterFraction(stop)
	if zp.AirSpace < medium.MinAirSpace {
		b.warn(path, "holds only %.1f %% air when drained, under %.0f %%: a taller pot or a coarser mix", 100*zp.AirSpace, 100*medium.MinAirSpace)
	}
}

func (b *builder) probesOf(path string, pot *garden.Pot, z *garden.Zone, r garden.Retention, c medium.Curve, number int, zp *ZonePlan) {
	if len(z.Probes) > 1 {
		var err error
		if zp.joint, err = medium.NewJoint(c, pot.Shape, zp.Capacity); err != nil {
			b.fatal(path, "%v", err)
		}
	}
	for i := range z.Probes {
		pr := &z.Probes[i]
		pp := probePlan{id: pr.ID, zone: number, rel: pr.DepthCM / pot.Shape.HeightCM}
		height := pot.Shape.HeightCM - pr.DepthCM
		prof, err := b.profile(r, c, pot.Shape, height)
		if err != nil {
			b.fatal(fmt.Sprintf("%s.probes.%s.depth", path, pr.ID), "%v", err)
		} else {
			pp.atCapacity = float64(prof.AtCapacity())
			if zp.CapacityMeasured {
				if q, err := prof.Anchored(prof.AtCapacity(), zp.Capacity); err == nil {
					prof = q
				}
			}
			pp.profile = prof
			if k := b.g.CalibrationFor(pot, pr).Kind; k == garden.Linear || k == garden.NoCurve {
				pp.levelSD = unpinnedSD
			}
			pp.deep = pp.rel >= deepFrom
			pp.wet = pp.atCapacity + 0.4*(c.Porosity()-pp.atCapacity)
		}
		zp.probes = append(zp.probes, len(b.p.probes))
		b.p.probes = append(b.p.probes, pp)
	}
}

// seesDepth warns where no probe tells of the depth.
func (b *builder) seesDepth(path string, zp *ZonePlan) {
	zp.DepthUnseen = len(zp.probes) > 0 && zp.HeightCM > deepPotCM
	lowest := 0.0
	for _, pi := range zp.probes {
		lowest = max(lowest, b.p.probes[pi].rel)
	}
	zp.DepthUnseen = zp.DepthUnseen && lowest < shallowFrom
	if zp.DepthUnseen {
		b.warn(path+".probes", "the lowest probe stands %.0f cm deep in %.0f cm of mix and says nothing of the depth: it is watered through by its balance every week; a second probe at about %.0f cm saves that water", lowest*zp.HeightCM, zp.HeightCM, 0.75*zp.HeightCM)
	}
}

// peakDaily is the zone's loss on a peak day with every plant grown, L.
func peakDaily(z *ZonePlan) float64 {
	canopy, use := 0.0, 0.0
	for _, pl := range z.plants {
		c := pl.canopyM2.Or(pl.crop.CanopyM2) * pl.count
		canopy += c
		use += c * max(pl.crop.KcMid, pl.crop.KcEnd, pl.crop.KcIni)
	}
	return peakEToMM * (use + z.bareMM(canopy, 0)) * z.exposure / (1 - z.sizedShare())
}

// dryFillL fills the zone from its lower limit to capacity, leaching included, L.
func (z *ZonePlan) dryFillL() float64 {
	return max(0, float64(z.Capacity-z.LowerLimit)) * z.VolumeL / (1 - z.sizedShare())
}

// sizedShare is the share to drain that lines are sized for.
func (z *ZonePlan) sizedShare() float64 {
	if z.LeachByNeed {
		return max(sizedFor, z.LeachingFraction)
	}
	return z.LeachingFraction
}

func (b *builder) pulses(path string, zp *ZonePlan) {
	zp.RefillL = float64(zp.Stop-zp.Refill) * zp.VolumeL / (1 - zp.LeachingFraction)
	most := max(pulseAirShare*zp.AirSpace, 0.02) * zp.VolumeL
	zp.Pulses = min(max(int(math.Ceil(zp.RefillL/most)), 2), 4)
	zp.PulseL = zp.RefillL / float64(zp.Pulses)
	zp.FirstPulseL = firstPulseShare * zp.RefillL
	// A tall pot takes longer to pass water down.
	zp.Soak = time.Duration(min(max(zp.HeightCM, 20), 60)) * time.Minute
	if zp.FlowLPH > 0 {
		zp.PulseTime = hours(zp.PulseL / zp.FlowLPH)
	}
}

func hours(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }

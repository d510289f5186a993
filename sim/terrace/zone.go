package terrace

import (
	"fmt"
	"math"
	"time"

	"fabricpot/control/crop"
	"fabricpot/control/garden"
	"fabricpot/sim/terrace/column"
)

// zone is one root zone: its column, its plants, and its account.
type zone struct {
	id  garden.ZoneID
	col *column.Column
	// litresPerCM turns the column's depths into litres; areas are m².
	litresPerCM         float64
	topM2, wallM2       float64
	plants              []plant
	exposure            float64
	lasting, day        float64 // hidden factors on demand
	pruned              float64 // factor on canopy
	canopyM2, waterNeed float64 // now: canopy, and Σ Kc·canopy with all factors but ETo
	cover               float64 // share of the surface under canopy
	leastAir            float64 // under it the mix counts as saturated
	airyTill            float64 // see airy
	porosity            float64
	wet, dry            float64 // water fractions for bypass
	bypass              float64
	// Present rates.
	potentialLPH, rainLPH float64
	taken                 column.Taken
	handL, handLPH        float64
	handMgL               float64 // nitrogen in the can
	heightCM              float64
	nitro                 *nitrogen // nil: not looked at
	warm                  warmth
	acc                   account
}

type plant struct {
	crop      crop.Crop
	count     float64
	plantedOn time.Time
	scale     float64 // the file's canopy over the crop's
}

const pourLPH = 120 // a can: two litres a minute

func newZone(g *garden.Garden, p *garden.Pot, z *garden.Zone, soil mixSoil, number int, o Options) (*zone, error) {
	volume := z.VolumeL(p)
	if !(volume > 0) || !garden.Finite(volume) {
		return nil, fmt.Errorf("terrace: zone %s holds %v L, expected over 0", z.ID, volume)
	}
	s := p.Shape
	solutes := append([]column.Solute{column.RainTag()}, o.Solutes...)
	if o.Nitrogen != nil {
		solutes = append(solutes, feedSolute())
	}
	col, err := column.New(column.Config{
		Soil: soil.Soil, HeightCM: s.HeightCM, Cells: o.Cells,
		BottomDiameterCM: s.BottomDiameterCM, TopDiameterCM: s.TopDiameterCM,
		MaxPondCM: o.MaxPondCM.Or(3), Response: soil.response,
		Solutes: solutes,
	})
	if err != nil {
		return nil, fmt.Errorf("terrace: zone %s: %w", z.ID, err)
	}
	out := &zone{id: z.ID, col: col, litresPerCM: volume / s.HeightCM, pruned: 1,
		exposure: crop.ExposureFactor(z.Exposure), porosity: soil.Porosity(), bypass: o.BypassMax}
	out.topM2 = math.Pi / 4 * s.TopDiameterCM * s.TopDiameterCM * 1e-4 * z.Share
	if out.topM2 == 0 {
		out.topM2 = out.litresPerCM * 0.1
	}
	out.wallM2 = math.Pi * (s.TopDiameterCM + s.BottomDiameterCM) / 2 * s.HeightCM * 1e-4 * z.Share
	out.lasting = math.Exp(o.DemandSpread * stream(o.Seed, forDemand, number, 0).NormFloat64())
	out.leastAir = leastAir(out.porosity - col.Mean())
	out.wet, out.dry = soil.Theta(100), soil.Theta(soil.response.NilCM)
	out.warm = newWarmth(s)
	out.heightCM = s.HeightCM
	if m, ok := g.Mix(p.Mix); ok && o.Nitrogen != nil {
		out.nitro = newNitrogen(o.Nitrogen, len(solutes)-1, m.StarterNmgL*volume/1000)
	}
	if o.StartSuctionCM > 0 {
		col.Rest(o.StartSuctionCM)
	}
	for _, gp := range z.Plants {
		c, ok := crop.Find(g.Crops, gp.Crop)
		if !ok {
			return nil, fmt.Errorf("terrace: zone %s grows %q, which neither the garden nor the crop table knows", z.ID, gp.Crop)
		}
		pl := plant{crop: c, count: float64(gp.Count), plantedOn: gp.PlantedOn, scale: 1}
		if gp.CanopyM2.Known && c.CanopyM2 > 0 {
			pl.scale = gp.CanopyM2.Value / c.CanopyM2
		}
		out.plants = append(out.plants, pl)
	}
	out.acc.startL = col.Stored() * out.litresPerCM
	return out, nil
}

// grow brings the plants to a date and draws the day's hidden factor.
func (z *zone) grow(dayNumber, number int, o *Options) {
	z.canopyM2, z.waterNeed = 0, 0
	var roots, weight float64
	for _, p := range z.plants {
		g := p.crop.Grown()
		if !p.plantedOn.IsZero() {
			age := dayNumber - dayKey(p.plantedOn)
			if age < 0 {
				continue
			}
			g = p.crop.At(float64(age))
		}
		canopy := g.CanopyM2 * p.scale * p.count * z.pruned
		z.canopyM2 += canopy
		z.waterNeed += g.Kc * canopy
		roots += g.RootFraction * canopy
		weight += canopy
	}
	z.day = math.Exp(o.DaySpread * stream(o.Seed, forDay, number, dayNumber).NormFloat64())
	z.waterNeed *= z.exposure * z.lasting * z.day
	z.cover = math.Min(1, z.canopyM2/z.topM2)
	if weight > 0 {
		z.col.SetRooting(roots / weight)
	}
}

// force sets what sun and sky ask and give for one block: etoMMH in mm/h, rainMMH
// in mm/h.
func (z *zone) force(etoMMH, rainMMH float64, o *Options, hours float64) {
	perArea := 1 / z.litresPerCM // L/h to cm/h
	z.potentialLPH = etoMMH * z.waterNeed
	// A canopy shades the mix: a covered surface keeps a fifth.
	surface := o.SurfaceCoeff.Or(1.05) * etoMMH * z.topM2 * z.exposure * (1 - 0.8*z.cover)
	wall := o.WallCoeff.Or(0.15) * etoMMH * z.wallM2 * z.exposure
	z.rainLPH = rainMMH * z.topM2 * (1 - o.CanopyShed*z.cover)
	z.taken = z.col.SetDemand(column.Demand{
		Transpiration: z.potentialLPH * perArea, Surface: surface * perArea, Wall: wall * perArea, ForHours: hours,
	})
}

// step moves the zone by hours with lineLPH litres an hour from its lines.
func (z *zone) step(hours, lineLPH float64) {
	water := lineLPH
	if z.handL > 0 {
		given := math.Min(z.handL, z.handLPH*hours)
		z.handL -= given
		if z.handL < 1e-9 {
			given += z.handL
			z.handL = 0
		}
		water += given / hours
		z.acc.handL += given
	}
	rain, irrigation := z.rainLPH/z.litresPerCM, water/z.litresPerCM
	past := 0.0
	if z.bypass > 0 && rain+irrigation > 0 {
		past = z.bypass * math.Max(0, math.Min(1, (z.wet-z.col.Mean())/(z.wet-z.dry)))
	}
	if rain+irrigation > 0 || z.col.Busy() {
		const minute = 1. / 60
		for left := hours; left > 0; {
			dt := left
			if left > 1.5*minute {
				dt = minute
			}
			z.col.Step(dt, rain, irrigation, past)
			left -= dt
		}
	} else {
		z.col.Step(hours, 0, 0, 0)
	}
	z.acc.appliedL += hours * water
	z.acc.rainL += hours * z.rainLPH
	z.acc.potentialL += hours * z.potentialLPH
	z.acc.hourPotential += hours * z.potentialLPH
	z.acc.hourTaken += hours * z.taken.Transpiration * z.litresPerCM
	z.acc.wetness(hours, z.airy())
}

// airy tells that the mix has air enough. Its mean is not summed up where it had air to
// spare and less came in since, cm over the mean area, than would take that: nothing else
// makes it wetter, what stands on it having been counted then. airyTill is the column's
// In up to which that holds, less a margin far over what sums are rounded by.
func (z *zone) airy() bool {
	in := z.col.In()
	if in < z.airyTill {
		return true
	}
	spare := z.porosity - z.col.Mean() - z.leastAir
	z.airyTill = in + spare*z.heightCM - z.col.Pond() - 1e-6
	return spare >= 0
}

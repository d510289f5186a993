package valves

import (
	"math"

	"fabricpot/control/garden"
)

// The built-in estimate of a line's peak daily need serves where the caller
// gives none. It errs on the generous side, since a cap that is too tight kills
// plants, and it is still small against what an open line gives in a day.
const (
	// peakMM is the water a canopy can lose on the worst day: about 10 mm of
	// reference evapotranspiration times 1.5 for a lone pot on hot paving.
	// Common practice, no source.
	peakMM = 15
	// canopyOverTop is a grown canopy's area over the pot's own, where the
	// garden gives no canopy. Common practice, no source.
	canopyOverTop = 5
	// emptied is the share of the mix's volume a pot can lose in a day: about
	// all the water that is available between container capacity and wilting.
	// Common practice, no source.
	emptied = 0.30
	// noMoreThan is a ceiling on any cap, as litres per litre of mix and day.
	// No pot drinks twice its own volume; a bigger number is a wrong number.
	noMoreThan = 2.0
)

// estimatePeakL is the built-in estimate of the most a line may have to give in
// a day, litres through the whole line: what its neediest zone needs.
func estimatePeakL(g *garden.Garden, l *garden.Line) float64 {
	return perLine(g, l, func(p *garden.Pot, z *garden.Zone) float64 {
		d := p.Shape.TopDiameterCM / 100
		canopy := canopyOverTop * z.Share * math.Pi / 4 * d * d
		var given float64
		for _, pl := range z.Plants {
			given += pl.CanopyM2.Or(0) * float64(max(0, pl.Count))
		}
		canopy = max(canopy, given)
		need := emptied * z.VolumeL(p)
		if canopy > 0 {
			need = min(need, peakMM*canopy)
		}
		return need / (1 - min(0.4, max(0, z.LeachingFraction)))
	})
}

// survivalL is a line's survival dose a day, litres through the whole line.
func survivalL(g *garden.Garden, l *garden.Line) float64 {
	return perLine(g, l, func(p *garden.Pot, z *garden.Zone) float64 {
		return max(0, g.Limits.SurvivalShare) * z.VolumeL(p)
	})
}

// wholeL is the whole volume of the line's pots, litres through the whole line:
// no mix holds more water than that.
func wholeL(g *garden.Garden, l *garden.Line) float64 {
	return perLine(g, l, func(p *garden.Pot, z *garden.Zone) float64 { return z.VolumeL(p) })
}

// ceilingL is the most any cap of the line may be, litres a day.
func ceilingL(g *garden.Garden, l *garden.Line) float64 {
	return perLine(g, l, func(p *garden.Pot, z *garden.Zone) float64 {
		return noMoreThan * z.VolumeL(p)
	})
}

// perLine turns what each zone wants into what the line must give for the
// neediest to have it: the others get a surplus.
func perLine(g *garden.Garden, l *garden.Line, want func(*garden.Pot, *garden.Zone) float64) float64 {
	var most float64
	for _, o := range l.Outlets {
		p, z, ok := g.Zone(o.Zone)
		share := l.ShareOf(o.Zone)
		if !ok || share <= 0 {
			continue
		}
		litres := want(p, z) / share
		if len(l.Outlets) > 1 && l.DU >= 0.3 && l.DU < 1 {
			litres /= l.DU
		}
		most = max(most, litres)
	}
	return most
}

package terrace

import (
	"fmt"
	"math/rand/v2"

	"fabricpot/control/garden"
	"fabricpot/sim/terrace/column"
)

// Options shape the part of the terrace that the garden file doesn't tell. The
// zero value of every spread is an ideal terrace without it; DefaultOptions has
// the spreads of a real one.
type Options struct {
	Seed uint64
	// Weather are daily rows in rising order of date; TMinC and TMaxC are needed
	// in at least one. A day without a row takes the nearest earlier one (or
	// the first), without its rain.
	Weather []garden.DayWeather
	// DemandSpread is the standard deviation of the logarithm of the factor by
	// which a zone drinks more or less than the book says, for good.
	DemandSpread float64
	// DaySpread is the same for a factor drawn anew per zone and day.
	DaySpread float64
	// EmitterSpread is the coefficient of variation between emitters; absent
	// means the one that belongs to the line's distribution uniformity.
	EmitterSpread garden.Measured
	// Clogging is the mean share of its flow an emitter loses in 100 days.
	Clogging float64
	// EmitterExponent is x of q = k·hˣ; absent means 0.5 (turbulent emitters).
	EmitterExponent garden.Measured
	// SupplyDroop is the share of pressure lost when the supply gives all it
	// can carry; absent means 0.1.
	SupplyDroop garden.Measured
	// TankRefillLPH is what runs into a tank while it is not full.
	TankRefillLPH float64
	// WallCoeff times ETo is what a fabric wall evaporates per area of wall;
	// absent means 0.15 (judgement: no measured coefficient is known).
	WallCoeff garden.Measured
	// SurfaceCoeff times ETo is what bare wet mix evaporates; absent means 1.05
	// (FAO-56's order of Ke for a wet surface).
	SurfaceCoeff garden.Measured
	// CanopyShed is the share of rain that a canopy covering the pot sheds.
	CanopyShed float64
	// BypassMax is the share of water that runs past a mix dried to the end of
	// uptake (shrunk from the wall, water-repellent); it falls to nothing where
	// the mix is at 100 cm of suction. 0 means none.
	BypassMax float64
	// Cells per column; 0 means 20.
	Cells int
	// MaxPondCM is the rim over the mix; absent means 3 cm.
	MaxPondCM garden.Measured
	// StartSuctionCM is the suction at the floor in the beginning; 0 is container
	// capacity.
	StartSuctionCM float64
	// Roots is how plants answer to dryness; zero means column.DefaultRoots.
	Roots column.Roots
	// ETo is the day's reference evapotranspiration in mm from its row; nil
	// means Hargreaves.
	ETo func(garden.DayWeather) float64
	// Solutes travel with the water besides the rain tag.
	Solutes []column.Solute
	// Nitrogen, where given, keeps a pool of it in each zone's water.
	Nitrogen *Nitrogen
}

// DefaultOptions are a plausible real terrace: judgement, no source.
func DefaultOptions(seed uint64, rows []garden.DayWeather) Options {
	return Options{
		Seed: seed, Weather: rows,
		DemandSpread: 0.12, DaySpread: 0.08, Clogging: 0.03, CanopyShed: 0.3, BypassMax: 0.5,
	}
}

func (o *Options) check() error {
	for _, f := range []struct {
		what   string
		v, max float64
	}{
		{"demand spread", o.DemandSpread, 1}, {"day spread", o.DaySpread, 1},
		{"emitter spread", o.EmitterSpread.Or(0), 1}, {"clogging", o.Clogging, 1},
		{"emitter exponent", o.EmitterExponent.Or(0), 1}, {"supply droop", o.SupplyDroop.Or(0), 0.9},
		{"tank refill in L/h", o.TankRefillLPH, 1e5}, {"wall coefficient", o.WallCoeff.Or(0), 2},
		{"surface coefficient", o.SurfaceCoeff.Or(0), 2}, {"share shed by the canopy", o.CanopyShed, 1},
		{"bypass", o.BypassMax, 0.95}, {"pond in cm", o.MaxPondCM.Or(0), 30},
		{"starting suction in cm", o.StartSuctionCM, 10000},
	} {
		if !garden.Finite(f.v) || f.v < 0 || f.v > f.max {
			return fmt.Errorf("terrace: %s is %v, expected 0 to %v", f.what, f.v, f.max)
		}
	}
	return nil
}

// purpose numbers the random streams.
type purpose uint64

const (
	forDemand purpose = iota + 1
	forDay
	forRain
	forEmitters
	forClogging
	forSynthetic
)

// stream is the random stream of one purpose and one thing (a zone, a day).
func stream(seed uint64, p purpose, thing, day int) *rand.Rand {
	return rand.New(rand.NewPCG(seed, uint64(p)<<56^uint64(uint32(thing))<<32^uint64(uint32(day))))
}

package season

import (
	"math"
	"math/rand/v2"
	"time"

	"fabricpot/control/garden"
)

// Climate makes daily weather for the bench where no weather file is given: an
// invented Mediterranean year in the manner of the northern Aegean, warm and
// dry in summer, mild and wet in winter, with warm and cool spells of a few
// days. It is demo data: no station measured it.
//
// One seed gives one year, and a day's weather does not depend on where the
// series begins.
func Climate(seed uint64, from time.Time, days int) []garden.DayWeather {
	out := make([]garden.DayWeather, 0, days)
	for i := range days {
		date := from.AddDate(0, 0, i)
		date = time.Date(date.Year(), date.Month(), date.Day(), 0, 0, 0, 0, from.Location())
		// Warmth follows the sun by about a month: coldest in late January.
		season := -math.Cos(2 * math.Pi * float64(date.YearDay()-25) / 365)
		spell := 0.0
		day := dayNumber(date)
		// Today's spell is what is left of the last days' pushes.
		for back := range 6 {
			spell += math.Pow(0.6, float64(back)) * dayRand(seed, day-back).NormFloat64()
		}
		r := dayRand(seed^0x5eed, day)
		mean := 15.5 + 11.5*season + 2.0*spell
		swing := 8.5 + 2.5*season + r.NormFloat64()
		rain := 0.0
		if wet := 0.22 - 0.12*season - 0.04*spell; r.Float64() < wet {
			rain = math.Round(10*r.ExpFloat64()*7) / 10
			mean -= 2
			swing *= 0.7
		}
		swing = max(3, swing)
		out = append(out, garden.DayWeather{
			Date:   date,
			TMinC:  garden.Known(round1(mean - swing/2)),
			TMaxC:  garden.Known(round1(mean + swing/2)),
			RainMM: garden.Known(rain),
			WindMS: garden.Known(round1(max(0.5, 2.4+0.9*r.NormFloat64()))),
		})
	}
	return out
}

func round1(v float64) float64 { return math.Round(10*v) / 10 }

// dayNumber counts civil days, so that seasons of different years differ.
func dayNumber(d time.Time) int {
	return int(time.Date(d.Year(), d.Month(), d.Day(), 0, 0, 0, 0, time.UTC).Unix() / 86400)
}

func dayRand(seed uint64, day int) *rand.Rand {
	return rand.New(rand.NewPCG(seed, uint64(day)))
}

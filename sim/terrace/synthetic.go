package terrace

import (
	"math"
	"time"

	"fabricpot/control/garden"
)

// FairWeather makes days of invented summer weather from a date on, for trying
// the gateway where no file of real weather is at hand: warm days with a slow
// swing, a shower every week or so. It is synthetic and says nothing about any
// place.
func FairWeather(seed uint64, from time.Time, days int) []garden.DayWeather {
	y, m, d := from.Date()
	rows := make([]garden.DayWeather, 0, max(0, days))
	for i := range days {
		date := time.Date(y, m, d+i, 0, 0, 0, 0, from.Location())
		r := stream(seed, forSynthetic, 0, dayKey(date))
		mid := 27 + 4*math.Sin(2*math.Pi*float64(dayKey(date))/11) + 1.5*r.NormFloat64()
		half := 5.5 + math.Abs(1.2*r.NormFloat64())
		rain := 0.0
		if r.Float64() < 0.13 {
			rain = 1 + 6*r.ExpFloat64()
			mid, half = mid-4, half*0.6
		}
		rows = append(rows, garden.DayWeather{Date: date,
			TMinC: garden.Known(mid - half), TMaxC: garden.Known(mid + half),
			RainMM: garden.Known(rain), WindMS: garden.Known(1.5 + r.ExpFloat64())})
	}
	return rows
}

// HeatSpell makes days of one hot, dry, windy day: 24 to 38 °C, which in the
// summer of middle latitudes is a reference evapotranspiration of some 7 mm. It
// is synthetic.
func HeatSpell(from time.Time, days int) []garden.DayWeather {
	y, m, d := from.Date()
	rows := make([]garden.DayWeather, 0, max(0, days))
	for i := range days {
		rows = append(rows, garden.DayWeather{
			Date:  time.Date(y, m, d+i, 0, 0, 0, 0, from.Location()),
			TMinC: garden.Known(23), TMaxC: garden.Known(38),
			RainMM: garden.Known(0), WindMS: garden.Known(5)})
	}
	return rows
}

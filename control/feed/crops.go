package feed

import (
	"strings"

	"fabricpot/control/garden"
)

// Hunger is what a crop takes up and how it is fed.
type Hunger struct {
	Crop string
	// PerTonne is the uptake of the whole plant, kg of N, P and K (elements)
	// per tonne of fresh harvest, which is also g per kg.
	PerTonne NPK
	// YieldKG is a usual season's harvest from one plant in a pot, kg:
	// judgement, for plants the gardener gave no figure for.
	YieldKG float64
	Habit   Habit
	// Source says where PerTonne is from.
	Source string
}

// Habit groups crops that are fed alike.
type Habit uint8

const (
	// Plain crops take a modest feed all season.
	Plain Habit = iota
	// Fruiting crops take more, and more often, while fruit forms.
	Fruiting
	// Leafy crops take a modest feed and little more when grown.
	Leafy
)

// NPPM is full strength by stage, mg N per litre of ready solution: seedlings
// 50–100, leaf crops 100–150, periodic feeds 200–300 ppm N (extension
// consensus, from memory); 200–250 while fruit forms (common practice, no
// source). The figures between are judgement.
func (h Habit) NPPM(s Stage) float64 {
	switch h {
	case Fruiting:
		return [...]float64{75, 150, 225, 150}[min(s, Late)]
	case Leafy:
		return [...]float64{75, 125, 125, 100}[min(s, Late)]
	}
	return [...]float64{75, 125, 150, 100}[min(s, Late)]
}

// IntervalDays is the time between feeds of that strength by stage, days: 10 to
// 14 once the starter charge is spent, 5 to 7 while fruit forms (common
// practice, no source).
func (h Habit) IntervalDays(s Stage) float64 {
	if h == Fruiting {
		return [...]float64{14, 12, 6, 12}[min(s, Late)]
	}
	return [...]float64{14, 14, 12, 14}[min(s, Late)]
}

// doseShare scales the container's dose: roots have not reached the whole
// container at first, and leafy crops take less than fruiting ones. Judgement.
func (h Habit) doseShare(s Stage) float64 {
	f := [...]float64{0.5, 0.8, 1, 0.8}[min(s, Late)]
	if h == Fruiting {
		return f
	}
	return 0.75 * f
}

// Hungers lists the crops that are known by name.
func Hungers() []Hunger {
	const (
		hegde  = "Hegde 1997, uptake per tonne of fruit, middle of the range"
		nevmg  = "New England Vegetable Management Guide table 4, removal, converted"
		memory = "from memory"
	)
	return []Hunger{
		{"tomato", NPK{2.75, 0.25, 3.25}, 4, Fruiting, hegde},
		{"aubergine", NPK{3.25, 0.25, 2.75}, 3, Fruiting, hegde},
		{"sweet pepper", NPK{3.25, 0.9, 5.5}, 2, Fruiting, hegde},
		{"hot pepper", NPK{3.25, 0.9, 5.5}, 1, Fruiting, hegde},
		{"cucumber", NPK{2.0, 0.4, 3.3}, 4, Fruiting, memory},
		{"bush bean", NPK{4.0, 0.8, 5.0}, 0.3, Plain, memory + "; most of its nitrogen it fixes itself"},
		// Heads hold about half of the plant's nutrients (judgement): removal × 2.
		{"broccoli", NPK{2 * 2.00, 2 * 0.20 * PPerP2O5, 2 * 4.50 * KPerK2O}, 0.5, Plain, nevmg + ", twice the heads' for the whole plant"},
		{"onion", NPK{2.75, 0.50 * PPerP2O5, 2.75 * KPerK2O}, 0.15, Plain, nevmg + ", bulbs"},
		{"lettuce", NPK{2.50, 1.17 * PPerP2O5, 5.00 * KPerK2O}, 0.3, Leafy, nevmg},
		{"strawberry", NPK{3.0, 0.5, 4.0}, 0.5, Plain, memory},
		{"potato", NPK{4.0, 0.6, 6.0}, 1.5, Plain, memory},
		{"chard", NPK{3.0, 0.5, 5.0}, 0.8, Leafy, memory},
		{"basil", NPK{3.5, 0.5, 5.0}, 0.3, Leafy, memory},
	}
}

// HungerOf returns what is known of a crop. An unknown one, such as a crop of
// the gardener's own, is fed as a plain crop and says so.
func HungerOf(name string) (Hunger, bool) {
	key := strings.NewReplacer("-", " ", "_", " ").Replace(strings.ToLower(strings.TrimSpace(name)))
	switch key {
	case "eggplant":
		key = "aubergine"
	case "chilli", "chili", "chile", "hot chilli":
		key = "hot pepper"
	case "pepper", "bell pepper":
		key = "sweet pepper"
	case "bean", "beans", "green bean":
		key = "bush bean"
	case "swiss chard":
		key = "chard"
	}
	for _, h := range Hungers() {
		if h.Crop == key {
			return h, true
		}
	}
	return Hunger{Crop: name, PerTonne: NPK{3, 0.5, 4}, YieldKG: 0.5, Habit: Plain, Source: "unknown crop: judgement"}, false
}

// seasonShare is how much of a season's uptake falls into each stage. The need
// is highest from about ten days after flowering until just before ripening
// (Hegde 1997); the split is judgement.
func seasonShare(s Stage) float64 { return [...]float64{0.05, 0.30, 0.50, 0.15}[min(s, Late)] }

// transpirationBounds hold the effect of one day's weather on uptake.
const (
	leastTranspirationFactor = 0.25
	mostTranspirationFactor  = 1.75
)

// DailyUptake is what one plant takes up in a day, g. It spreads the season's
// uptake (g/kg × harvest in kg) over the stages and lets it follow the plant's
// transpiration: ratio is today's transpiration over a usual day's of the same
// stage, taken as 1 where absent and held within 0.25 to 1.75. lengths are the
// stages' days; a stage without length takes 30.
func DailyUptake(h Hunger, yieldKG float64, s Stage, lengths [4]int, ratio garden.Measured) NPK {
	if !garden.Finite(yieldKG) || yieldKG <= 0 {
		return NPK{}
	}
	s = min(s, Late)
	return h.PerTonne.Times(yieldKG * seasonShare(s) / stageDays(s, lengths) * transpirationFactor(ratio))
}

// MeanUptake is what one plant takes up on the mean day of its season, g, where nobody knows
// how far it is: the rate of its best weeks would have it eat a season's food in half of
// one. The rest is as with DailyUptake.
func MeanUptake(h Hunger, yieldKG float64, lengths [4]int, ratio garden.Measured) NPK {
	if !garden.Finite(yieldKG) || yieldKG <= 0 {
		return NPK{}
	}
	days := 0.0
	for s := Initial; s <= Late; s++ {
		days += stageDays(s, lengths)
	}
	return h.PerTonne.Times(yieldKG / days * transpirationFactor(ratio))
}

func stageDays(s Stage, lengths [4]int) float64 {
	if n := lengths[s]; n > 0 {
		return float64(n)
	}
	return 30
}

func transpirationFactor(ratio garden.Measured) float64 {
	return min(max(ratio.Or(1), leastTranspirationFactor), mostTranspirationFactor)
}

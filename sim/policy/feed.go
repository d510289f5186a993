package policy

import "fabricpot/control/garden"

// Meal is how a zone is fed: litres of ready solution of so much nitrogen, mg/L,
// every so many days. The zero Meal is not fed.
type Meal struct {
	Litres, NMgL, EveryDays float64
}

// firstMealDay is when a calendar begins: a mix's starter charge lasts three to
// five weeks. Common practice, no source.
const firstMealDay = 21

// fed feeds by the calendar beside whatever waters. People come in the evening.
type fed struct {
	Policy
	start, day int
	meals      []Meal
	due        []float64 // day of each zone's next meal
	given      []int
	// forget every meal of that number; 0 forgets none.
	forget int
}

// Fed gives a rival somebody who feeds by the calendar with a can: the careful
// grower and the owners of timers and switches on time, who waters by hand misses
// every third.
func Fed(p Policy, f Facts, meals []Meal) Policy {
	w := &fed{Policy: p, start: dayNumber(f.Start), day: -1, meals: meals, given: make([]int, len(meals))}
	for range meals {
		w.due = append(w.due, firstMealDay)
	}
	if _, careless := p.(*can); careless {
		w.forget = 3
	}
	return w
}

// Step waters, and feeds if the evening of the day has come.
func (w *fed) Step(s *Sight, out *Orders) {
	w.Policy.Step(s, out)
	day, evening := w.evening(s.Now)
	if !evening {
		return
	}
	for z, m := range w.meals {
		if m.EveryDays <= 0 || float64(day) < w.due[z] {
			continue
		}
		w.due[z] += m.EveryDays
		w.given[z]++
		if w.forget > 0 && w.given[z]%w.forget == 0 {
			continue
		}
		out.Pour = append(out.Pour, Pour{Zone: z, Litres: m.Litres, NMgL: m.NMgL})
	}
}

// evening is true once a day.
func (w *fed) evening(now garden.Moment) (day int, first bool) {
	day = dayNumber(now.Wall) - w.start
	if day == w.day || now.Wall.Sub(midnight(now.Wall)) < canAt {
		return day, false
	}
	w.day = day
	return day, true
}

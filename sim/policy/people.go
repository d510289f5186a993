package policy

import "time"

const (
	// canAt and growerAt are when people come. Common practice, no source.
	canAt    = 19 * time.Hour
	growerAt = 7 * time.Hour
)

// can is a person who waters every second evening with a fixed can: two days'
// loss of the hottest week. Evenings that fall on a weekend are forgotten, and for a week in
// the middle of the season nobody is there.
type can struct {
	start, days int
	litres      []float64
	done        int
}

func newCan(f Facts) *can {
	c := &can{start: dayNumber(f.Start), days: f.Days(), done: -1}
	for z := range f.ZoneLine {
		litres := 0.0
		if f.ZoneLine[z] >= 0 {
			litres = 2 * f.hottestLoss(z)
		}
		c.litres = append(c.litres, litres)
	}
	return c
}

func (c *can) Step(s *Sight, out *Orders) {
	wall := s.Now.Wall
	day := dayNumber(wall) - c.start
	if day == c.done || wall.Sub(midnight(wall)) < canAt {
		return
	}
	c.done = day
	weekend := wall.Weekday() == time.Saturday || wall.Weekday() == time.Sunday
	away := day >= c.days/2 && day < c.days/2+7
	if day%2 != 0 || weekend || away {
		return
	}
	for z, l := range c.litres {
		if l > 0 {
			out.Pour = append(out.Pour, Pour{Zone: z, Litres: l})
		}
	}
}

// A careful grower wants to see a little water come out below: between dripLeast
// and dripMost of what was poured since yesterday. Where it was less the can gets
// growMore fuller, where it was more, emptier; and twice as full where plants
// hung for hungLong hours, whatever came out: dry mix lets water run past.
// Judgement.
const (
	dripLeast, dripMost = 0.02, 0.10
	growMore, growLess  = 1.15, 0.88
	hungLong, hungMore  = 2.0, 2.0
)

// grower is a careful person who waters every pot every morning to slight
// drainage, and learns each pot's can from what yesterday's did.
type grower struct {
	start  int
	day    int
	litres []float64
	// Of yesterday's visit: what had drained, and how long plants had hung.
	drained, hung []float64
}

func newGrower(f Facts) *grower {
	g := &grower{start: dayNumber(f.Start), day: -1, drained: make([]float64, len(f.ZoneLine)), hung: make([]float64, len(f.ZoneLine))}
	for z := range f.ZoneLine {
		litres := 0.0
		if f.ZoneLine[z] >= 0 {
			litres = f.meanLoss(z, 0, f.Days())
		}
		g.litres = append(g.litres, litres)
	}
	return g
}

func (g *grower) Step(s *Sight, out *Orders) {
	wall := s.Now.Wall
	day := dayNumber(wall) - g.start
	if day == g.day || wall.Sub(midnight(wall)) < growerAt {
		return
	}
	first := g.day < 0
	g.day = day
	for z, l := range g.litres {
		if l <= 0 {
			continue
		}
		if dripped := s.DrainedL[z] - g.drained[z]; !first {
			switch {
			case s.HungHours[z]-g.hung[z] >= hungLong:
				l *= hungMore
			case dripped < dripLeast*l:
				l *= growMore
			case dripped > dripMost*l:
				l *= growLess
			}
		}
		g.litres[z], g.drained[z], g.hung[z] = l, s.DrainedL[z], s.HungHours[z]
		out.Pour = append(out.Pour, Pour{Zone: z, Litres: l})
	}
}

package balance

import (
	"math"

	"fabricpot/control/garden"
)

// Slices is how many layers of equal height a root zone is cut into. Eight keep
// a probe's own layer apart from the floor and the surface in the tallest pot
// and cost a few hundred nanoseconds a tick.
const Slices = 8

// Strata says what each slice of a zone holds, top first. It never changes and
// may be shared.
type Strata struct {
	// Weight is each slice's share of the zone's volume; they sum to 1.
	Weight [Slices]float64
	// Capacity is the water fraction each slice keeps once the pot has drained,
	// rising towards the floor; its weighted mean is container capacity.
	Capacity [Slices]float64
	// Porosity is the water fraction of a slice with no air left in it.
	Porosity float64
	// Full and Nil are the water fractions at which roots begin to feel thirst
	// and at which they get nothing more.
	Full, Nil float64
}

// Curve is a retention curve: water fraction at a suction in cm of water.
type Curve interface {
	Theta(suctionCM float64) float64
}

// NewStrata cuts a pot of that shape. capacity is the zone's container capacity;
// where the gardener measured it, the slices of the curve are shifted so that
// they agree with it. fullCM and nilCM are the suctions between which uptake
// falls from full to nothing.
func NewStrata(c Curve, porosity float64, s garden.Shape, capacity, fullCM, nilCM float64) Strata {
	var st Strata
	st.Porosity, st.Full, st.Nil = porosity, c.Theta(fullCM), c.Theta(nilCM)
	var volume, mean float64
	const within = 5
	for k := range Slices {
		var area, theta float64
		for j := range within {
			// Height over the floor of the j-th fifth of slice k.
			z := s.HeightCM * (1 - (float64(k)+(float64(j)+0.5)/within)/Slices)
			d := s.BottomDiameterCM + (s.TopDiameterCM-s.BottomDiameterCM)*z/s.HeightCM
			area += d * d
			theta += d * d * c.Theta(z)
		}
		st.Weight[k], st.Capacity[k] = area, theta/area
		volume += area
	}
	for k := range Slices {
		st.Weight[k] /= volume
		mean += st.Weight[k] * st.Capacity[k]
	}
	for k := range Slices {
		st.Capacity[k] = min(max(st.Capacity[k]+capacity-mean, 0), porosity)
	}
	return st
}

// CapacityAt is what the slices keep at a depth, rel being its share of the
// height from the top, 0..1.
func (s *Strata) CapacityAt(rel float64) float64 { return between(&s.Capacity, rel) }

// response is how fully roots drink from mix of that water fraction, 0..1.
func (s *Strata) response(theta float64) float64 {
	if s.Full <= s.Nil {
		return 1
	}
	return min(max((theta-s.Nil)/(s.Full-s.Nil), 0), 1)
}

// between interpolates slice values at a relative depth; over the first and
// under the last slice's middle they stay flat.
func between(v *[Slices]float64, rel float64) float64 {
	x := min(max(rel*Slices-0.5, 0), Slices-1)
	i := min(int(x), Slices-2)
	return v[i] + (x-float64(i))*(v[i+1]-v[i])
}

// Column is what a zone holds, slice by slice: a ledger of litres that knows
// where in the pot they are. A probe near the top of a pot says nothing of its
// depth; the ledger does, since water only passes a slice that has had its fill.
// It is plain data and may be copied.
type Column struct {
	// Theta is the water fraction of each slice, top first.
	Theta [Slices]float64
}

// Fill sets every slice to the share of its capacity that gives the zone that
// mean, the picture to begin with when one figure is all that is known.
func (c *Column) Fill(s *Strata, mean float64) {
	capacity := 0.0
	for k := range Slices {
		capacity += s.Weight[k] * s.Capacity[k]
	}
	for k := range Slices {
		c.Theta[k] = min(max(s.Capacity[k]+mean-capacity, 0), s.Porosity)
	}
}

// Mean is the zone's water fraction.
func (c *Column) Mean(s *Strata) float64 {
	m := 0.0
	for k := range Slices {
		m += s.Weight[k] * c.Theta[k]
	}
	return m
}

// At is the water fraction at a relative depth, 0 the surface, 1 the floor.
func (c *Column) At(rel float64) float64 { return between(&c.Theta, rel) }

// Deficit is the water missing to capacity in the slices the roots reach, as a
// fraction of the whole zone. A slice that is too wet makes up for no other.
func (c *Column) Deficit(s *Strata, root float64) float64 {
	d := 0.0
	for k := range Slices {
		d += s.Weight[k] * reach(root, k) * max(0, s.Capacity[k]-c.Theta[k])
	}
	return d
}

// reach is how much of slice k the roots have, 0..1, for roots down to that
// share of the height.
func reach(root float64, k int) float64 {
	return min(max(root*Slices-float64(k), 0), 1)
}

// Lose takes away what plants transpire and what evaporates, both as fractions
// of the zone's volume, and returns what was really taken. Roots draw where they
// are and find water; what evaporates comes from the surface slice and, through
// the fabric, a little from all.
func (c *Column) Lose(s *Strata, transpired, evaporated, root float64) float64 {
	if !garden.Finite(transpired+evaporated) || transpired < 0 || evaporated < 0 {
		return 0
	}
	root = max(root, 1.0/Slices)
	var w [Slices]float64
	var sum, thirst, rooted float64
	for k := range Slices {
		r := s.Weight[k] * reach(root, k)
		w[k] = r * s.response(c.Theta[k])
		sum += w[k]
		rooted += r
		thirst += r * c.Theta[k]
	}
	taken := 0.0
	if sum > 0 {
		// Whole-plant response goes by the root zone's mean (FAO-56 eq. 84 in
		// spirit): a dry top does not stress a plant whose depth is moist.
		scale := transpired * s.response(thirst/rooted) / sum
		for k := range Slices {
			taken += c.take(s, k, scale*w[k])
		}
	}
	const surface = 0.5
	taken += c.take(s, 0, evaporated*surface)
	for k := range Slices {
		taken += c.take(s, k, evaporated*(1-surface)*s.Weight[k])
	}
	return taken
}

// take removes a fraction of the zone's volume from one slice, as far as it has
// it over a quarter of what roots can get.
func (c *Column) take(s *Strata, k int, f float64) float64 {
	has := max(0, c.Theta[k]-s.Nil/4) * s.Weight[k]
	f = min(f, has)
	c.Theta[k] -= f / s.Weight[k]
	return f
}

// Gain pours a fraction of the zone's volume onto the surface. Slices take it up
// to their pores from the top; what finds no room at all is returned.
func (c *Column) Gain(s *Strata, f float64) (over float64) {
	if !garden.Finite(f) || f <= 0 {
		return 0
	}
	for k := range Slices {
		room := max(0, s.Porosity-c.Theta[k]) * s.Weight[k]
		in := min(room, f)
		c.Theta[k] += in / s.Weight[k]
		if f -= in; f <= 0 {
			return 0
		}
	}
	return f
}

// settleHours is the time constant with which a slice passes on what it can't
// keep. In coarse mixes most of it is gone within an hour.
const settleHours = 0.25

// Settle lets water over a slice's capacity move down for that many hours, as
// far as the slice below has room, and returns what drained out of the floor, as
// a fraction of the zone's volume.
func (c *Column) Settle(s *Strata, hours float64) (drained float64) {
	if !garden.Finite(hours) || hours <= 0 {
		return 0
	}
	// A long step in several, so that water may pass more than one slice.
	steps := min(1+int(hours/settleHours), 4*Slices)
	share := 1 - math.Exp(-hours/float64(steps)/settleHours)
	for range steps {
		for k := Slices - 1; k >= 0; k-- {
			pass := share * max(0, c.Theta[k]-s.Capacity[k]) * s.Weight[k]
			if k == Slices-1 {
				drained += pass
			} else {
				pass = min(pass, max(0, s.Porosity-c.Theta[k+1])*s.Weight[k+1])
				c.Theta[k+1] += pass / s.Weight[k+1]
			}
			c.Theta[k] -= pass / s.Weight[k]
		}
	}
	return drained
}

// seeReach is how far from itself a probe's word carries, as a share of the
// height. Beyond that the ledger of litres stands.
const seeReach = 0.16

// See moves the slices near a probe towards its reading by that gain, 0..1, and
// returns the surprise: reading minus what was expected. Over capacity the
// reading counts as capacity: the mix there has its fill, and what it still
// holds beyond is on its way down and in the ledger already.
func (c *Column) See(s *Strata, rel, reading, gain float64) float64 {
	if !garden.Finite(reading) || !garden.Finite(gain) || gain <= 0 {
		return 0
	}
	full := s.CapacityAt(rel)
	surprise := min(reading, full) - min(c.At(rel), full)
	for k := range Slices {
		d := ((float64(k)+0.5)/Slices - rel) / seeReach
		c.Theta[k] = min(max(c.Theta[k]+gain*math.Exp(-d*d)*surprise, 0), s.Porosity)
	}
	return surprise
}

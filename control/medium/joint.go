package medium

import (
	"fmt"
	"sort"

	"gonum.org/v1/gonum/integrate/quad"

	"fabricpot/control/garden"
)

// Joint turns what several probes in one pot read, each at its own depth, into
// the pot's mean. It is immutable, safe for concurrent use, and does not
// allocate.
//
// Each reading gives the suction at its depth. Between two probes the suction is
// taken to change evenly with depth, and beyond the outermost to go on as it
// did, by no more than a centimetre for each: that is rest, under which water
// does not move. So a drained pot comes out as it is, and so does one whose top
// was wetted again and again while its depth dried out, which one reading can't
// tell from the other.
type Joint struct {
	curve         Curve
	depth, weight [jointPoints]float64 // cm under the surface; shares of the volume
	shift         float64
}

const (
	jointPoints = 12
	// mostSuctionCM is the suction over which a mix counts as this dry: the curve
	// is flat there, and a reading says little of its neighbourhood. Our judgement.
	mostSuctionCM = 300
)

// NewJoint prepares a pot. capacity, m³/m³, is what it is known to hold when
// drained: where that differs from the curve's own the shape of the curve is
// kept and its place is the gardener's. It refuses a bad shape and a capacity
// outside 0..1.
func NewJoint(c Curve, s garden.Shape, capacity garden.WaterFraction) (*Joint, error) {
	own, err := Capacity(c, s)
	if err != nil {
		return nil, err
	}
	if v := float64(capacity); !garden.Finite(v) || v <= 0 || v >= 1 {
		return nil, fmt.Errorf("medium: capacity %v is not a water fraction between 0 and 1", v)
	}
	j := &Joint{curve: c, shift: float64(capacity) - own}
	quad.Legendre{}.FixedLocations(j.depth[:], j.weight[:], 0, s.HeightCM)
	// Down from the surface, as Mean walks.
	sort.Sort(byDepth{j})
	var volume float64
	for i, x := range j.depth {
		d := s.TopDiameterCM + (s.BottomDiameterCM-s.TopDiameterCM)*x/s.HeightCM
		j.weight[i] *= d * d
		volume += j.weight[i]
	}
	for i := range j.weight {
		j.weight[i] /= volume
	}
	return j, nil
}

type byDepth struct{ *Joint }

func (b byDepth) Len() int           { return jointPoints }
func (b byDepth) Less(i, k int) bool { return b.depth[i] < b.depth[k] }
func (b byDepth) Swap(i, k int) {
	b.depth[i], b.depth[k] = b.depth[k], b.depth[i]
	b.weight[i], b.weight[k] = b.weight[k], b.weight[i]
}

// Mean is the pot's mean water fraction, m³/m³, where probes depthsCM under the
// surface read readings. There must be two or more, as many of one as of the
// other, and depths must rise; of two at one depth no more is made than of one. A
// reading outside the curve counts as its end, a NaN as the dry one.
func (j *Joint) Mean(depthsCM, readings []float64) float64 {
	var sum float64
	i := 0
	from, to := j.suction(readings[0]), j.suction(readings[1])
	slope := rise(from, to, depthsCM[0], depthsCM[1])
	for k, x := range j.depth {
		for x > depthsCM[i+1] && i+2 < len(depthsCM) {
			i++
			from, to = to, j.suction(readings[i+1])
			slope = rise(from, to, depthsCM[i], depthsCM[i+1])
		}
		var h float64
		switch beyond := min(max(slope, -1), 1); {
		case x < depthsCM[0]:
			h = from + beyond*(x-depthsCM[0])
		case x > depthsCM[i+1]:
			h = to + beyond*(x-depthsCM[i+1])
		default:
			h = from + slope*(x-depthsCM[i])
		}
		sum += j.weight[k] * j.curve.Theta(h)
	}
	return min(max(sum+j.shift, 0), 1)
}

func (j *Joint) suction(reading float64) float64 { return min(j.curve.Suction(reading), mostSuctionCM) }

// rise is how suction changes from one depth to the next, cm for each cm.
func rise(from, to, upper, lower float64) float64 {
	if lower <= upper {
		return 0
	}
	return (to - from) / (lower - upper)
}

package calibrate

import "fabricpot/control/garden"

// leastStep keeps pooled points apart in water, so that the cubic through them
// stays strictly monotone.
const leastStep = 1e-4

// pool makes scattered points, sorted by voltage, strictly monotone in the
// direction of sign: neighbours that run the wrong way, or lie at one reading,
// become their mean (pool adjacent violators; Ayer et al. 1955, Ann. Math.
// Statist. 26:641-647, from memory).
func pool(ps []garden.CalibrationPoint, sign float64) []garden.CalibrationPoint {
	type block struct{ v, w, n float64 }
	var blocks []block
	for _, p := range ps {
		blocks = append(blocks, block{float64(p.Volts), float64(p.Water), 1})
		for len(blocks) > 1 {
			a, b := blocks[len(blocks)-2], blocks[len(blocks)-1]
			if sign*(b.w-a.w) >= leastStep && b.v-a.v >= sameV {
				break
			}
			n := a.n + b.n
			blocks = append(blocks[:len(blocks)-2], block{(a.v*a.n + b.v*b.n) / n, (a.w*a.n + b.w*b.n) / n, n})
		}
	}
	out := make([]garden.CalibrationPoint, len(blocks))
	for i, b := range blocks {
		out[i] = garden.CalibrationPoint{Volts: garden.Volts(b.v), Water: garden.WaterFraction(b.w)}
	}
	return out
}

package column

import "math"

// iterate does one Newton correction of u for a step of dt hours and leaves the
// fluxes linearised about the new state. It returns the largest correction.
//
// Balance of cell i, water counted downward:
//
//	vol·(θ(u) − w) + dt·(q[i+1] − q[i] + sink) = 0
//
// and the flux through the face between cells a above and b below
//
//	q = area·K̄·((h_b − h_a)/dz + 1),   K̄ = (Φ_a − Φ_b)/(h_b − h_a)
//
// The matrix is tridiagonal; a row is eliminated as soon as its lower face is
// known, so that one pass over the cells reads the table, builds and eliminates.
func (c *Column) iterate(dt, avail float64) (worst float64) {
	layers := c.layers
	tab := &c.soil.tab
	invDz := 1 / c.dz

	l := &layers[0]
	a := c.soil.at(l.u)
	aSlope := a.gSlope
	l.h = a.h
	// The face above the first cell.
	topQ, topQb := c.topFace(avail, a)
	fluxAbove := topQ
	// diag and rhs of row i so far, lower·(row above) already taken off.
	diag := l.vol*a.c - dt*topQb
	lower, cpPrev, dpPrev := 0.0, 0.0, 0.0

	for i := 1; i < len(layers); i++ {
		// The next cell down from the table.
		next := &layers[i]
		ub := next.u
		x := (ub - uMin) * perU
		j := int(x)
		t := x - float64(j)
		lo, hi := &tab[j&nodeMask], &tab[(j+1)&nodeMask]
		dTheta := hi.theta - lo.theta
		bTheta := lo.theta + t*dTheta
		dg := hi.g - lo.g
		bg := lo.g + t*dg
		bPhi := lo.phi - t*(lo.g+bg)*(0.5/perU)
		cube := ub * ub * math.Abs(ub)
		bh, bhs := ub+ub*cube, 1+4*cube
		next.h = bh

		// The face between.
		dh := bh - a.h
		var k, ka, kb float64
		if math.Abs(dh) > alikeCM {
			inv := 1 / dh
			k = (a.phi - bPhi) * inv
			ka = (k*a.hSlope - a.g) * inv
			kb = (bg - k*bhs) * inv
		} else {
			k, ka, kb = alike(l.u, a.g, aSlope, a.hSlope, ub, bg, dg*perU, bhs)
		}
		grad := dh*invDz + 1
		area := l.af
		ki := k * invDz
		flux := area * k * grad
		fa := area * (ka*grad - ki*a.hSlope)
		fb := area * (kb*grad + ki*bhs)
		l.q, l.qa, l.qb = flux, fa, fb

		// The row of the upper cell is complete.
		rhs := l.vol*(l.w-a.theta) - dt*(flux-fluxAbove+l.sink)
		pivot := 1 / (diag + dt*fa - lower*cpPrev)
		cpPrev, dpPrev = dt*fb*pivot, (rhs-lower*dpPrev)*pivot
		l.cp, l.dp = cpPrev, dpPrev

		// Begin the next.
		lower = -dt * fa
		diag = next.vol*(dTheta*perU) - dt*fb
		fluxAbove = flux
		a.theta, a.phi, a.g, a.h, a.hSlope, aSlope = bTheta, bPhi, bg, bh, bhs, dg*perU
		l = next
	}

	botQ, botQa := c.floorFace(a)
	rhs := l.vol*(l.w-a.theta) - dt*(botQ-fluxAbove+l.sink)
	du := (rhs - lower*dpPrev) / (diag + dt*botQa - lower*cpPrev)

	// Back, correcting state and fluxes. A clipped correction is iterated on, so
	// its fluxes are never used. Comparisons instead of min and max: those order
	// NaN and signed zero, at a cost. A NaN anywhere reaches the first cell.
	l.q = botQ + botQa*du
	for i := len(layers) - 1; i >= 0; i-- {
		l := &layers[i]
		d := du
		if d < 0 {
			d = -d
		}
		if d > worst {
			worst = d
		}
		v := l.u + du
		if d > clipDU {
			v = l.u + math.Copysign(clipDU, du)
		}
		if v > uTop {
			v = uTop
		}
		if v < uLow {
			v = uLow
		}
		l.u = v
		if i > 0 {
			up := &layers[i-1]
			above := up.dp - up.cp*du
			up.q += up.qa*above + up.qb*du
			du = above
		}
	}
	c.top.q = topQ + topQb*du
	if du != du {
		return du
	}
	return worst
}

// alikeCM is a difference in suction under which the quotient of differences
// begins to lose digits.
const alikeCM = 1e-4

// alike is the mean conductivity between two cells of nearly equal suction, with
// its slopes by either u, from u, g, dg/du and dh/du of both. d²h/du² = 12u|u|.
func alike(ua, ga, gsa, hsa, ub, gb, gsb, hsb float64) (k, ka, kb float64) {
	ia, ib := 0.5/hsa, 0.5/hsb
	k1, k2 := ga*ia, gb*ib
	ka = gsa*ia - k1*12*ua*math.Abs(ua)*2*ia
	kb = gsb*ib - k2*12*ub*math.Abs(ub)*2*ib
	return k1 + k2, ka, kb
}

// toSurface is the mean conductivity between a cell and a face at zero suction,
// with its slope by the cell's u.
func (c *Column) toSurface(a state) (k, slope float64) {
	if math.Abs(a.h) < 1e-3 {
		k = a.g / a.hSlope
		return k, 0
	}
	k = (c.soil.phiSat - a.phi) / a.h
	return k, (a.g - k*a.hSlope) / a.h
}

// topFace is the flux into the first cell: all that is there, unless the surface
// can't take it and it ponds.
func (c *Column) topFace(avail float64, a state) (q, slope float64) {
	if avail <= 0 && a.h > 0 {
		return avail, 0
	}
	k, ks := c.toSurface(a)
	half := 2 / c.dz
	grad := (a.h+c.pond)*half + 1
	if take := c.top.af * k * grad; take < avail {
		return take, c.top.af * (ks*grad + k*half*a.hSlope)
	}
	return avail, 0
}

// floorFace is the flux out of the last cell.
func (c *Column) floorFace(a state) (q, slope float64) {
	half := 2 / c.dz
	grad := 1 - a.h*half
	if c.bottom == SeepageFace && grad <= 0 {
		return 0, 0
	}
	k, ks := c.toSurface(a)
	af := c.layers[c.n-1].af
	return af * k * grad, af * (ks*grad - k*half*a.hSlope)
}

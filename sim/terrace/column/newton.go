package column

import "math"

// iterate does one Newton correction of u for a step of dt hours and leaves the
// fluxes linearised about the new state. It returns the largest correction. The
// first of a step keeps what u was, for restore. Beside each cell it leaves what
// the fluxes would make of its water, and notes whether that can be.
//
// Balance of cell i, water counted downward:
//
//	vol/dt·(θ(u) − w) + q[i+1] − q[i] + sink = 0
//
// and the flux through the face between cells a above and b below
//
//	q = area·K̄·((h_b − h_a)/dz + 1),   K̄ = (Φ_a − Φ_b)/(h_b − h_a)
//
// The matrix is tridiagonal; a row is eliminated as soon as its lower face is
// known, so that one pass over the cells reads the table, builds and eliminates.
func (c *Column) iterate(dt, avail float64, first bool) (worst float64) {
	layers := c.layers
	tab := &c.soil.tab
	invDz := 1 / c.dz

	l := &layers[0]
	a := c.soil.at(l.u)
	l.h = a.h
	// The face above the first cell.
	topQ, topQb := c.topFace(avail, a)
	fluxAbove := topQ
	// diag and rhs of row i so far, lower·(row above) already taken off.
	invDt := 1 / dt
	store := l.vol * invDt
	diag := store*a.c - topQb
	// cross is the product of the two off-diagonal terms of a face: with it only
	// one multiplication, a subtraction and the division wait for the row before.
	lower, cross, pivot, dpPrev := 0.0, 0.0, 0.0, 0.0

	for i := 1; i < len(layers); i++ {
		// The next cell down from the table.
		next := &layers[i]
		ub := next.u
		j := int(ub)
		t := ub - float64(j)
		r := &tab[j&nodeMask]
		bTheta := r.theta + t*r.dTheta
		bg := r.g + t*r.dg
		bPhi := r.phi - t*(r.g+bg)*0.5
		v := ub*(1/perV) + vMin
		cube := v * v * size(v)
		bh, bhs := v+v*cube, (1/perV)+(4/perV)*cube
		next.h = bh

		// The face between.
		dh := bh - a.h
		var k, ka, kb float64
		if dh < -alikeCM || dh > alikeCM {
			inv := 1 / dh
			k = (a.phi - bPhi) * inv
			ka = (k*a.hSlope - a.g) * inv
			kb = (bg - k*bhs) * inv
		} else {
			k, ka, kb = alike(l.u, a.g, a.gSlope, a.hSlope, ub, bg, r.dg, bhs)
		}
		grad := dh*invDz + 1
		area := l.af
		ki := k * invDz
		flux := area * k * grad
		fa := area * (ka*grad - ki*a.hSlope)
		fb := area * (kb*grad + ki*bhs)
		l.q, l.qa, l.qb = flux, fa, fb

		// The row of the upper cell is complete.
		rhs := store*(l.w-a.theta) - (flux - fluxAbove + l.sink)
		pivot = 1 / (diag + fa - cross*pivot)
		dpPrev = (rhs - lower*dpPrev) * pivot
		l.cp, l.dp = fb*pivot, dpPrev

		// Begin the next.
		lower, cross = -fa, -fa*fb
		store = next.vol * invDt
		diag = store*r.dTheta - fb
		fluxAbove = flux
		a.theta, a.phi, a.g, a.h, a.hSlope, a.gSlope = bTheta, bPhi, bg, bh, bhs, r.dg
		l = next
	}

	botQ, botQa := c.floorFace(a)
	rhs := store*(l.w-a.theta) - (botQ - fluxAbove + l.sink)
	du := (rhs - lower*dpPrev) / (diag + botQa - cross*pivot)

	// Back, correcting state and fluxes. A clipped correction is iterated on, so
	// its fluxes are never used. Comparisons instead of min and max: those order
	// NaN and signed zero, at a cost. A NaN anywhere reaches the first cell.
	below := botQ + botQa*du
	l.q = below
	over, least, most := false, c.least, c.most
	for i := len(layers) - 1; ; i-- {
		d := du
		if d < 0 {
			d = -d
		}
		if d > worst {
			worst = d
		}
		if first {
			l.uOld = l.u
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
		if i == 0 {
			break
		}
		// The face above, and with it the cell's water.
		up := &layers[i-1]
		above := up.dp - up.cp*du
		q := up.q + (up.qa*above + up.qb*du)
		up.q = q
		w := l.w + dt*(q-below-l.sink)*l.invVol
		l.next = w
		if w < least || w > most {
			over = true
		}
		l, du, below = up, above, q
	}
	c.top.q = topQ + topQb*du
	w := l.w + dt*(c.top.q-below-l.sink)*l.invVol
	l.next = w
	c.overdrawn = over || w < least || w > most
	if du != du {
		return du
	}
	return worst
}

// alikeCM is a difference in suction under which the quotient of differences
// begins to lose digits.
const alikeCM = 1e-4

// alike is the mean conductivity between two cells of nearly equal suction, with
// its slopes by either u, from u, g, dg/du and dh/du of both.
func alike(ua, ga, gsa, hsa, ub, gb, gsb, hsb float64) (k, ka, kb float64) {
	ia, ib := 1/hsa, 1/hsb
	k1, k2 := ga*ia, gb*ib
	ka = 0.5 * (gsa - k1*suctionCurve(ua)) * ia
	kb = 0.5 * (gsb - k2*suctionCurve(ub)) * ib
	return 0.5 * (k1 + k2), ka, kb
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

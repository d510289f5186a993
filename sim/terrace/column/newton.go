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
	n := c.n
	u, w, vol, sink, hs := c.u[:n], c.w[:n], c.vol[:n], c.sink[:n], c.h[:n]
	cp, dp := c.cp[:n], c.dp[:n]
	af, q, qa, qb := c.af[:n+1], c.q[:n+1], c.qa[:n+1], c.qb[:n+1]
	tab := &c.soil.tab
	invDz := 1 / c.dz

	a := c.soil.at(u[0])
	hs[0] = a.h
	// The face above the first cell.
	topQ, topQb := c.topFace(avail, a)
	q[0], qb[0] = topQ, topQb
	fluxAbove := topQ
	// diag and rhs of row i so far, lower·(row above) already taken off.
	diag := vol[0]*a.c - dt*topQb
	lower, cpPrev, dpPrev := 0.0, 0.0, 0.0

	for i := 0; i < n-1; i++ {
		// Cell i+1 from the table.
		ub := u[i+1]
		x := (ub - uMin) * perU
		j := int(x)
		t := x - float64(j)
		lo, hi := &tab[j&nodeMask], &tab[(j+1)&nodeMask]
		dTheta := hi.theta - lo.theta
		bTheta := lo.theta + t*dTheta
		bg := lo.g + t*(hi.g-lo.g)
		bPhi := lo.phi - t*(lo.g+bg)*(0.5/perU)
		cube := ub * ub * math.Abs(ub)
		bh, bhs := ub+ub*cube, 1+4*cube
		hs[i+1] = bh

		// The face between.
		dh := bh - a.h
		var k, ka, kb float64
		if math.Abs(dh) > 1e-3*(1+math.Abs(bh)) {
			inv := 1 / dh
			k = (a.phi - bPhi) * inv
			ka = (k*a.hSlope - a.g) * inv
			kb = (bg - k*bhs) * inv
		} else {
			k, ka, kb = alike(c.soil, u[i], ub)
		}
		grad := dh*invDz + 1
		area := af[i+1]
		ki := k * invDz
		flux := area * k * grad
		fa := area * (ka*grad - ki*a.hSlope)
		fb := area * (kb*grad + ki*bhs)
		q[i+1], qa[i+1], qb[i+1] = flux, fa, fb

		// Row i is complete.
		rhs := vol[i]*(w[i]-a.theta) - dt*(flux-fluxAbove+sink[i])
		pivot := 1 / (diag + dt*fa - lower*cpPrev)
		cpPrev, dpPrev = dt*fb*pivot, (rhs-lower*dpPrev)*pivot
		cp[i], dp[i] = cpPrev, dpPrev

		// Begin row i+1.
		lower = -dt * fa
		diag = vol[i+1]*(dTheta*perU) - dt*fb
		fluxAbove = flux
		a.theta, a.phi, a.g, a.h, a.hSlope = bTheta, bPhi, bg, bh, bhs
	}

	botQ, botQa := c.floorFace(a)
	q[n], qa[n] = botQ, botQa
	rhs := vol[n-1]*(w[n-1]-a.theta) - dt*(botQ-fluxAbove+sink[n-1])
	du := (rhs - lower*dpPrev) / (diag + dt*botQa - lower*cpPrev)

	// Back, correcting state and fluxes. A clipped correction is iterated on, so
	// its fluxes are never used.
	q[n] += botQa * du
	i := n - 1
	for {
		worst = max(worst, math.Abs(du))
		u[i] = max(uMin+1/perU, min(uMax-1/perU, u[i]+max(-clipDU, min(clipDU, du))))
		if i == 0 {
			break
		}
		above := dp[i-1] - cp[i-1]*du
		q[i] += qa[i]*above + qb[i]*du
		du = above
		i--
	}
	q[0] += topQb * du
	return worst
}

// alike is the mean conductivity between two cells of nearly equal suction, with
// its slopes by either u, where the quotient of differences would lose digits.
func alike(s *Soil, ua, ub float64) (k, ka, kb float64) {
	a, b := s.at(ua), s.at(ub)
	k1, k2 := a.g/a.hSlope, b.g/b.hSlope
	// d²h/du² = 12u|u|.
	ka = 0.5 * (a.gSlope - k1*12*ua*math.Abs(ua)) / a.hSlope
	kb = 0.5 * (b.gSlope - k2*12*ub*math.Abs(ub)) / b.hSlope
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
	if take := c.af[0] * k * grad; take < avail {
		return take, c.af[0] * (ks*grad + k*half*a.hSlope)
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
	n := c.n
	return c.af[n] * k * grad, c.af[n] * (ks*grad - k*half*a.hSlope)
}

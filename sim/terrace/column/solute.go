package column

// Solute is something carried by the water: a tag that tells rain from
// irrigation, salt, nitrogen. Amounts are in units of the concentration × cm.
type Solute struct {
	Name string
	// Rain and Water are the concentrations of what falls and what is poured.
	Rain, Water float64
	// Start is the concentration in the mix at the beginning.
	Start float64
	// Uptake and Evaporate are the shares of the concentration that leave with
	// water taken by roots and by evaporation: 1 and 1 for a tag on the water
	// itself, 0 and 0 for a salt the plant refuses.
	Uptake, Evaporate float64
}

// RainTag marks water that fell as rain.
func RainTag() Solute { return Solute{Name: "rain", Rain: 1, Uptake: 1, Evaporate: 1} }

// Carried is what became of a solute, cumulative, amounts as in Solute.
type Carried struct{ In, Drained, RunOff, Uptake, Evaporated float64 }

type solute struct {
	Solute
	mass    []float64
	pond    float64
	offered float64
	done    Carried
}

// transport moves solutes with the volumes that passed since the last move,
// implicit and upwind: never negative, conservative, at any step length.
type transport struct {
	list []solute
	w0   []float64 // water fraction at the last move
	a, b []float64
	// Since the last move: hours, water offered, run off, bypassed, and the
	// pond at its beginning.
	hours, offered, runOff, bypass, pond0 float64
}

func newTransport(n int, list []Solute) transport {
	t := transport{w0: make([]float64, n), a: make([]float64, n), b: make([]float64, n)}
	for _, s := range list {
		t.list = append(t.list, solute{Solute: s, mass: make([]float64, n)})
	}
	return t
}

func (t *transport) restart(layers []layer, pond float64) {
	for i := range layers {
		t.w0[i] = layers[i].w
	}
	t.pond0 = pond
	for k := range t.list {
		s := &t.list[k]
		for i := range s.mass {
			s.mass[i] = s.Start * layers[i].w * layers[i].vol
		}
	}
}

// note records what was offered on top in dt hours at the two rates.
func (t *transport) note(dt, rain, water float64) {
	t.hours += dt
	t.offered += dt * (rain + water)
	for k := range t.list {
		t.list[k].offered += dt * (rain*t.list[k].Rain + water*t.list[k].Water)
	}
}

// Concentration of solute k in cell i as of the last move.
func (c *Column) Concentration(k, i int) float64 {
	return c.moves.list[k].mass[i] / (c.moves.w0[i] * c.layers[i].vol)
}

// Mass of solute k in the column, pond included, as of the last move.
func (c *Column) Mass(k int) float64 {
	s := &c.moves.list[k]
	sum := s.pond + s.offered
	for _, m := range s.mass {
		sum += m
	}
	return sum
}

// Carried tells what became of solute k. Drainage since the last move is counted
// at the present concentration of the lowest cell, so that asking changes
// nothing.
func (c *Column) Carried(k int) Carried {
	s := &c.moves.list[k]
	d := s.done
	d.In += s.offered
	if p := c.layers[c.n-1].passed; p > 0 {
		d.Drained += p * c.Concentration(k, c.n-1)
	}
	return d
}

// Add puts an amount of solute k evenly into the mix (a release, a top
// dressing) or takes it out (uptake by the plant's own rule), never below zero;
// it returns what was really moved.
func (c *Column) Add(k int, amount float64) float64 {
	s := &c.moves.list[k]
	var total float64
	for _, m := range s.mass {
		total += m
	}
	if amount < -total {
		amount = -total
	}
	for i := range s.mass {
		if amount < 0 {
			s.mass[i] += amount * s.mass[i] / total
		} else {
			s.mass[i] += amount * c.layers[i].vol / c.height
		}
	}
	return amount
}

// SetInflow changes the concentrations of rain and irrigation from now on.
func (c *Column) SetInflow(k int, rain, water float64) {
	c.moveSolutes()
	c.moves.list[k].Rain, c.moves.list[k].Water = rain, water
}

// moveSolutes carries every solute along with the water that passed.
func (c *Column) moveSolutes() {
	t := &c.moves
	if t.hours == 0 || len(t.list) == 0 {
		return
	}
	for k := range t.list {
		c.moveOne(&t.list[k])
	}
	c.top.passed = 0
	for i := range c.layers {
		t.w0[i] = c.layers[i].w
		c.layers[i].passed = 0
	}
	t.hours, t.offered, t.runOff, t.bypass, t.pond0 = 0, 0, 0, 0, c.pond
}

func (c *Column) moveOne(s *solute) {
	t, n := &c.moves, c.n
	// The pond mixes what stood with what came.
	s.done.In += s.offered
	top := 0.0
	if v := t.pond0 + t.offered; v > 0 {
		conc := (s.pond + s.offered) / v
		in := max(c.top.passed, 0) * conc
		top = in
		s.done.RunOff += t.runOff * conc
		s.done.Drained += t.bypass * conc
		s.pond += s.offered - in - t.runOff*conc - t.bypass*conc
		if c.pond <= 0 {
			// Rounding left over goes in with the rest.
			top += s.pond
			s.pond = 0
		}
	}
	s.offered = 0
	// Implicit upwind: for each cell the new concentration x solves
	// (V + outflow)x - inflow·x(neighbour) = mass; unknowns eliminated downward.
	above := c.top.passed
	for i := range n {
		l := &c.layers[i]
		below := l.passed
		lower, upper := 0.0, 0.0
		diag := l.w*l.vol + t.hours*(s.Uptake*l.uptake+s.Evaporate*l.evap)
		rhs := s.mass[i]
		if i == 0 {
			rhs += top
			diag += max(-above, 0)
		} else if above > 0 {
			lower = -above
		} else {
			diag -= above
		}
		if below > 0 {
			diag += below
		} else if i < n-1 {
			upper = below
		}
		if i > 0 {
			diag -= lower * t.a[i-1]
			rhs -= lower * t.b[i-1]
		}
		t.a[i] = upper / diag
		t.b[i] = rhs / diag
		above = below
	}
	x := 0.0
	for i := n - 1; i >= 0; i-- {
		x = t.b[i] - t.a[i]*x
		t.b[i] = x
		l := &c.layers[i]
		s.mass[i] = x * l.w * l.vol
		s.done.Uptake += t.hours * s.Uptake * l.uptake * x
		s.done.Evaporated += t.hours * s.Evaporate * l.evap * x
	}
	s.done.Drained += max(c.layers[n-1].passed, 0) * t.b[n-1]
	// Water pressed up through the surface joins the pond.
	s.pond += max(-c.top.passed, 0) * t.b[0]
}

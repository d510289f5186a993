package terrace

// pump is what feeds the lines where the supply has one, and what it suffered.
type pump struct {
	on bool
	// Hours run in all, of them with no water to pump, and against closed valves.
	ran, dry, shut float64
}

func (p *pump) run(hours float64, asked, flows bool) {
	if !p.on {
		return
	}
	p.ran += hours
	switch {
	case !asked:
		p.shut += hours
	case !flows:
		p.dry += hours
	}
}

// SetPump runs or stops the pump from Now on. A supply without one takes no
// notice.
func (t *Terrace) SetPump(on bool) { t.pipes.pump.on = on }

// PumpHours is how long the pump ran in all, how long of that with nothing to
// pump, and how long against closed valves; hours.
func (t *Terrace) PumpHours() (ran, dry, shut float64) {
	return t.pipes.pump.ran, t.pipes.pump.dry, t.pipes.pump.shut
}

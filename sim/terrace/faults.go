package terrace

import "fabricpot/control/garden"

// Stuck is how a valve is stuck.
type Stuck uint8

const (
	// Moves freely.
	Moves Stuck = iota
	// StuckOpen: water passes whatever is commanded.
	StuckOpen
	// StuckClosed: none passes.
	StuckClosed
)

// Faults act from the terrace's present time until set back. An unknown line or
// zone changes nothing and returns false.

// StickValve makes a line's valve stick, or move again.
func (t *Terrace) StickValve(id garden.LineID, s Stuck) bool {
	i, ok := t.pipes.byID[id]
	if ok {
		t.pipes.lines[i].stuck = s
	}
	return ok
}

// LeakValve lets lph litres an hour through a closed valve; 0 mends it.
func (t *Terrace) LeakValve(id garden.LineID, lph float64) bool {
	i, ok := t.pipes.byID[id]
	if ok {
		t.pipes.lines[i].leakLPH = max(0, lph)
	}
	return ok
}

// BlockEmitters blocks a share (0..1) of a line's emitters in one zone.
func (t *Terrace) BlockEmitters(id garden.LineID, zone int, share float64) bool {
	i, ok := t.pipes.byID[id]
	if !ok {
		return false
	}
	found := false
	for j := range t.pipes.lines[i].outlets {
		if o := &t.pipes.lines[i].outlets[j]; o.zone == zone {
			o.blocked = max(0, min(1, share))
			found = true
		}
	}
	t.pipes.age(t.days())
	return found
}

// HoseOff lets a line's hose come off its outlets: factor times the flow runs
// onto the terrace and none to the pots. 0 puts it back.
func (t *Terrace) HoseOff(id garden.LineID, factor float64) bool {
	i, ok := t.pipes.byID[id]
	if ok {
		t.pipes.lines[i].burst = max(0, factor)
	}
	return ok
}

// CutSupply takes the water away, or brings it back.
func (t *Terrace) CutSupply(gone bool) { t.pipes.cut = gone }

// StopMeter makes the flow meter count nothing.
func (t *Terrace) StopMeter(stopped bool) { t.pipes.meterOff = stopped }

// SetTank puts litres into the tank, 0 to its size.
func (t *Terrace) SetTank(litres float64) {
	t.pipes.tankL = max(0, min(t.pipes.supply.TankL.Or(0), litres))
}

// TankL is what the tank holds; absent where there is none.
func (t *Terrace) TankL() garden.Measured {
	if !t.pipes.hasTank {
		return garden.Measured{}
	}
	return garden.Known(t.pipes.tankL)
}

package bench

import (
	"math/rand/v2"
	"time"

	"fabricpot/control/garden"
)

// InputFault is what can be wrong with a probe and its cable.
type InputFault uint8

const (
	// Healthy is a working probe.
	Healthy InputFault = iota
	// Open: the plug is out. The converter's input is pulled up, so it sits at
	// the supply.
	Open
	// Short: the signal lies at ground.
	Short
	// WetPlug: water in the connector pulls the signal towards ground; amount is
	// the share of it that is left, 0..1.
	WetPlug
	// Stuck: the voltage stays exactly what it was, noise and all.
	Stuck
	// Drifting: the voltage moves away by amount, V/h.
	Drifting
	// NoisyInput: amount is the standard deviation, V.
	NoisyInput
	// OutOfMix: the probe was pulled out and hangs in the air.
	OutOfMix
)

// Input is one probe in the soil, and the cable to its converter.
type Input struct {
	// What each conversion asks for, side by side: bench and noise are immutable.
	bench  *Bench
	noise  float64
	rng    *rand.Rand
	seenAt time.Duration // terrace time of clean
	seenTo time.Duration // when the terrace is to go on
	clean  float64       // V without noise or fault
	fault  InputFault

	// Immutable but for Swap.
	probe  garden.ProbeID
	zone   int
	depths [3]float64 // ends and middle of the sensing length, cm
	curve  curve
	// Hidden errors against the calibration.
	offset, gain, tempV float64

	// Of the fault.
	amount  float64
	faultAt time.Duration
	frozen  float64
	isFroze bool
}

// refTempC is where hidden temperature coefficients are nil.
const refTempC = 20

func (in *Input) place(depthCM, heightCM, sensingCM float64) {
	keep := func(d float64) float64 { return max(0, min(d, heightCM)) }
	in.depths = [3]float64{keep(depthCM - sensingCM/2), keep(depthCM), keep(depthCM + sensingCM/2)}
}

// Fail sets or, with Healthy, ends a fault, from the clock's present time on.
func (in *Input) Fail(f InputFault, amount float64) {
	in.fault, in.amount, in.faultAt, in.isFroze = f, amount, in.bench.clk.Now(), false
}

// Water is the true water fraction the probe sees, averaged over its sensing
// length (Simpson's rule).
func (in *Input) Water() float64 {
	t := in.bench.terrace
	mid := t.WaterAt(in.zone, in.depths[1])
	if in.depths[0] == in.depths[2] {
		return mid
	}
	return (t.WaterAt(in.zone, in.depths[0]) + 4*mid + t.WaterAt(in.zone, in.depths[2])) / 6
}

// volts is the voltage at the converter's pin at one moment.
func (in *Input) volts() float64 {
	if in.fault != Healthy {
		return in.faulty()
	}
	if in.stale() {
		in.look()
	}
	v := in.clean
	if in.noise > 0 {
		v += in.noise * in.rng.NormFloat64()
	}
	return v
}

// faulty is volts with a fault.
func (in *Input) faulty() float64 {
	if in.fault == Stuck && in.isFroze {
		return in.frozen
	}
	if in.stale() {
		in.look()
	}
	v := in.clean
	switch in.fault {
	case Open:
		v = in.bench.opts.SupplyV
	case Short:
		v = 0
	case WetPlug:
		v *= in.amount
	case Drifting:
		v += in.amount * (in.bench.clk.Now() - in.faultAt).Hours()
	case NoisyInput:
		v += in.amount * in.rng.NormFloat64()
	case OutOfMix:
		v = in.curve.air*in.gain + in.offset
	}
	if in.noise > 0 {
		v += in.noise * in.rng.NormFloat64()
	}
	if in.fault == Stuck {
		in.frozen, in.isFroze = v, true
	}
	return v
}

// stale tells that the terrace has gone on since clean was looked up, or is to: once
// per state of the terrace, not once per conversion.
func (in *Input) stale() bool {
	b := in.bench
	return b.clk.now >= in.seenTo || b.terrace.Now() != in.seenAt
}

// look brings clean, the noiseless voltage of a working probe, up to date.
func (in *Input) look() {
	b := in.bench
	at := b.terrace.Now()
	if now := b.clk.now; now-at >= b.opts.Refresh {
		b.terrace.Advance(now)
		if at = b.terrace.Now(); at == in.seenAt {
			return
		}
	}
	water := in.Water()
	var hidden float64
	if in.tempV != 0 || in.curve.tempCoeff != 0 {
		temp := b.terrace.TempAt(in.zone, in.depths[1])
		water += in.curve.tempCoeff * (temp - in.curve.tempRefC)
		hidden = in.tempV * (temp - refTempC)
	}
	in.clean = in.curve.volts(water)*in.gain + in.offset + hidden
	in.seenAt, in.seenTo = at, at+b.opts.Refresh
}

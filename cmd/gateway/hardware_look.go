package main

import (
	"errors"
	"math"
	"slices"

	"fabricpot/control/garden"
	"fabricpot/sensors"
)

// look is one burst of a probe.
type look struct {
	Volts, Spread garden.Volts
	TempC         garden.Measured
	Water         garden.WaterFraction
	Calibrated    bool
}

// lookBurst is enough conversions for a median within a millivolt or two.
const lookBurst = 25

// look reads a probe by its number in garden.ProbeList.
func (st *stand) look(i int, pr garden.Probe) (look, error) {
	var l look
	if pr.Remote != nil {
		return l, errors.New("its readings come over the broker: start the gateway to see them")
	}
	at := pr.Input
	at.Channel = 0
	r, ok := st.readers[at]
	if !ok {
		var err error
		if r, err = st.open(pr.Input); err != nil {
			return l, err
		}
		st.readers[at] = r
	}
	vs := make([]garden.Volts, 0, lookBurst)
	for range lookBurst {
		v, err := r.ReadVolts(pr.Input.Channel)
		if err != nil {
			delete(st.readers, at)
			return l, err
		}
		vs = append(vs, v)
	}
	slices.Sort(vs)
	l.Volts, l.Spread = vs[len(vs)/2], vs[len(vs)-2]-vs[1]
	if st.bench != nil {
		l.TempC = st.bench.Wires.ProbeTempC(i)
	}
	pot, zone, ok := st.u.garden.Zone(pr.Zone)
	if !ok || zone == nil {
		return l, nil
	}
	if c, err := sensors.NewCurve(st.u.garden.CalibrationFor(pot, &pr)); err == nil {
		l.Water, _ = c.WaterAt(l.Volts, l.TempC)
		l.Calibrated = true
	}
	return l, nil
}

// fault says in a word what a voltage means by itself.
func (l look) fault() string {
	switch {
	case l.Volts < 0.08:
		return "short circuit, or nothing is powered"
	case l.Volts > 3.2:
		return "open: no probe, cable or plug"
	case l.Spread > 0.05:
		return "noisy"
	}
	return ""
}

// lookAll reads every probe a few times: water and its scatter; NaN where it
// can't be read.
func (st *stand) lookAll(times int) (out [][2]float64) {
	for i, p := range st.u.garden.ProbeList() {
		var ws []float64
		for range times {
			if l, err := st.look(i, p); err == nil && l.Calibrated && l.fault() == "" {
				ws = append(ws, float64(l.Water))
			}
		}
		if len(ws) == 0 {
			out = append(out, [2]float64{math.NaN(), 0})
			continue
		}
		slices.Sort(ws)
		out = append(out, [2]float64{ws[len(ws)/2], ws[len(ws)-1] - ws[0]})
	}
	return out
}

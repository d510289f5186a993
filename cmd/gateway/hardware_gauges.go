package main

import (
	"fmt"
	"io"
	"text/tabwriter"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
	"fabricpot/sensors/pulse"
	"fabricpot/valves/gpioline"
)

// standGauges are a stand's meter, rain gauge and float, with what they count
// before anybody makes water of it; nil where there is none.
type standGauges struct {
	believed    runner.Gauges
	meter, rain pulse.Counter
	float       bool
	soFar       func() (hour, day float64)
}

// watchBench takes the bench's gauges.
func (st *stand) watchBench() {
	meter, rain, float := st.bench.Contacts()
	st.gauges = standGauges{believed: st.bench.Gauges(), float: float != nil, soFar: st.bench.RainSoFar}
	if meter != nil {
		st.gauges.meter = meter
	}
	if rain != nil {
		st.gauges.rain = rain
	}
}

// watchBoard requests the board's input lines.
func (st *stand) watchBoard(hw *board, tell io.Writer) error {
	g, in, err := hw.openGauges(st.u.garden, tell)
	if err != nil {
		return err
	}
	st.gauges = standGauges{believed: g, float: in.float != nil, soFar: g.RainSoFar}
	if in.meter != nil {
		st.gauges.meter = in.meter
	}
	if in.rain != nil {
		st.gauges.rain = in.rain
	}
	return nil
}

// count tells the guard what meter and float say now, as a running gateway does.
func (st *stand) count(now garden.Moment) {
	g := st.gauges.believed
	if g == nil || st.guard == nil {
		return
	}
	if f := g.Float(now); f != garden.NoFloat {
		st.guard.Float(now, f)
	}
	if st.gauges.meter != nil {
		st.guard.Meter(now, g.MeterL(now))
	}
}

// pulsed is what the flow meter has counted; false where there is none or it
// can't be read.
func (st *stand) pulsed() (uint64, bool) {
	if st.gauges.meter == nil {
		return 0, false
	}
	p := st.gauges.meter.Pulses()
	return p.Total, p.Err == nil
}

// gaugeTable prints what meter, rain gauge, float and pump are and say now, and
// returns what is missing or wrong.
func (st *stand) gaugeTable(w io.Writer) (wrong []string) {
	g := st.u.garden
	s := &g.Supply
	if !s.MeterPulsesPerL.Known && !s.Float.Fitted && !g.Rain.Fitted && !s.Pump.Fitted {
		return nil
	}
	now := st.moment()
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "\ngauge\twired to\tpulses\tlost\tbounced\tsays\t")
	at := func(c garden.Contact) string {
		switch {
		case st.bench != nil:
			return "bench"
		case !c.Fitted:
			return "nothing"
		}
		return fmt.Sprintf("%s line %d", c.Chip, c.Pin)
	}
	row := func(what string, c garden.Contact, from pulse.Counter, says string) {
		if from == nil {
			wrong = append(wrong, what+" is not wired: no pin in the garden file")
			fmt.Fprintf(t, "%s\t%s\t-\t-\t-\tnot read\t\n", what, at(c))
			return
		}
		p := from.Pulses()
		if p.Err != nil {
			wrong = append(wrong, fmt.Sprintf("%s: %v", what, p.Err))
			says = "missing"
		}
		fmt.Fprintf(t, "%s\t%s\t%d\t%d\t%d\t%s\t\n", what, at(c), p.Total, p.Lost, p.Bounced, says)
	}
	if s.MeterPulsesPerL.Known {
		says := "nothing that can be believed"
		if st.gauges.meter != nil {
			if l := st.gauges.believed.MeterL(now); l.Known {
				says = fmt.Sprintf("%.2f L so far", l.Value)
			}
		}
		row("meter", s.Meter, st.gauges.meter, says)
	}
	if g.Rain.Fitted {
		st.gauges.believed.RainMM(now)
		hour, day := st.gauges.soFar()
		row("rain gauge", g.Rain.Contact, st.gauges.rain, fmt.Sprintf("%.1f mm this hour and the last, %.1f mm in a day", hour, day))
	}
	if s.Float.Fitted {
		f := st.gauges.believed.Float(now)
		fmt.Fprintf(t, "float\t%s\t-\t-\t-\t%s\t\n", at(s.Float), f)
		if f == garden.FloatDown {
			wrong = append(wrong, "float: "+f.String())
		}
	}
	for _, y := range st.gauges.believed.Worries(now) {
		wrong = append(wrong, y.Text)
	}
	if s.Pump.Fitted {
		says := "stopped"
		if st.bench == nil {
			state, err := gpioline.InUse(s.Pump.Chip, s.Pump.Pin)
			switch {
			case err != nil:
				says = "missing"
				wrong = append(wrong, fmt.Sprintf("pump: %v", err))
			case state.Used:
				says = fmt.Sprintf("held by %q", state.Holder)
				wrong = append(wrong, "pump: its GPIO line is "+says)
			default:
				says = "free"
			}
		}
		fmt.Fprintf(t, "pump\t%s\t-\t-\t-\t%s\t\n", at(garden.Contact{Fitted: true, Chip: s.Pump.Chip, Pin: s.Pump.Pin}), says)
	}
	t.Flush()
	return wrong
}

package runner

import (
	"cmp"
	"fmt"
	"sort"
	"strings"
	"time"

	"fabricpot/control"
	"fabricpot/control/garden"
	"fabricpot/valves"
)

// observe records the tick and raises what has to be raised.
func (l *Loop) observe(now garden.Moment) {
	if l.silent && !l.publish {
		return
	}
	l.views = l.p.Plan.View(l.p.State, now, l.views[:0])
	if k, ok := l.p.Journal.(WeatherKeeper); ok {
		k.Weather(now, l.obs.Today, l.obs.Now)
	}
	l.check(now, "keep samples", l.p.Journal.Samples(now, l.obs.Readings, l.views))
	for _, e := range l.p.State.Events() {
		l.p.Tell.Noticed(e)
		if e.Kind == control.Dropped && !e.Refused {
			o := garden.Order{Zone: e.Zone, Line: e.Line, Kind: garden.ByHand, Litres: e.A}
			l.check(now, "keep a decision", l.p.Journal.Decided(now, o, e.Cause, fmt.Sprintf("%.2f L asked for were not given", e.A)))
		}
	}
	lines, journal := l.p.Guard.SnapshotInto(now, l.lines[:0])
	l.lines = lines
	if l.p.Far != nil {
		for _, w := range l.p.Far.Worries() {
			l.watch.hold(now, w.Kind, w.Subject, w.Text)
		}
	}
	l.worry(now)
	l.crashes(now)
	l.watch.flow(now, &l.obs, lines, l.p.Guard.Stray())
	l.watch.cold(now, l.env())
	l.waiting = l.p.Plan.Waiting(l.p.State, l.waiting[:0])
	l.watch.short(now, l.waiting, l.views, l.p.State.AutoOff)
	changes := l.watch.look(now, &l.obs, l.p.State, l.views, lines, journal)
	l.tellAlarms(now, changes)
	if l.publish {
		l.status.Store(l.snapshot(now, lines))
	}
}

func (l *Loop) snapshot(now garden.Moment, lines []valves.Status) *Status {
	st := &Status{
		At: now.Wall, Synced: now.Synced, Site: l.p.Garden.Site.Name, Hardware: l.p.Garden.Hardware.Kind,
		Automatic: !l.p.State.AutoOff, Journal: l.p.JournalPath, Ticks: l.ticks,
		Alarms: l.watch.lines(now), Weather: weatherLine(&l.obs),
	}
	sky := l.p.Plan.Sky(l.p.State)
	st.Weather.EToMM, st.Weather.EToBy, st.Weather.EToGuessed = sky.TodayMM, sky.Method, sky.Estimated
	if l.obs.TankL.Known {
		st.TankL = number(l.obs.TankL.Value)
	}
	// Made anew each round, each as long as it gets: a status is most of what is thrown away.
	st.Zones = make([]ZoneStatus, 0, len(l.views))
	probes := make([]ProbeStatus, 0, len(l.obs.Readings))
	probe := 0
	i := 0
	l.p.Garden.EachZone(func(p *garden.Pot, z *garden.Zone) {
		zs := zoneStatus(now, p, z, &l.p.Plan.Zones()[i], &l.views[i])
		first := len(probes)
		for k := range z.Probes {
			if probe < len(l.obs.Readings) {
				probes = append(probes, probeStatus(now, &z.Probes[k], &l.obs.Readings[probe], l.p.ReadTimes))
			}
			probe++
		}
		if own := probes[first:len(probes):len(probes)]; len(own) > 0 { // else null in JSON
			zs.Probes = own
		}
		zs.ShutUntil = shutUntil(now, z, lines)
		for _, a := range l.asks { // what the next tick is to hear of
			if a.Kind == garden.AskWater && a.Zone == z.ID {
				zs.Asked = &AskedStatus{Litres: a.Litres, Until: now.Wall.Add(control.AskLasts).Round(time.Second)}
			}
		}
		st.Zones = append(st.Zones, zs)
		i++
	})
	st.Lines = l.lineStatuses(lines)
	st.Converters = l.converters(now)
	return st
}

// shutUntil is until when a zone's line is kept shut, nil where it is not.
func shutUntil(now garden.Moment, z *garden.Zone, lines []valves.Status) *time.Time {
	for k := range lines {
		if lines[k].Line == z.Line && lines[k].HeldUntil > 0 {
			until := now.Wall.Add(lines[k].HeldUntil - now.Mono).Round(time.Second)
			return &until
		}
	}
	return nil
}

func (l *Loop) lineStatuses(lines []valves.Status) []LineStatus {
	if len(lines) == 0 {
		return nil
	}
	out := make([]LineStatus, 0, len(lines))
	for i := range lines {
		s := &lines[i]
		ls := LineStatus{
			Line: s.Line, Name: l.p.Garden.Lines[i].Name, Open: s.Open, Confirmed: s.Confirmed, UnconfirmedS: s.UnconfirmedFor.Seconds(),
			TodayL: s.SpentL, CapL: s.CapL, FlowLPH: l.p.Garden.Lines[i].FlowLPH(),
			OrderedL: s.Order.Litres, SoFarL: s.SoFarL,
		}
		if p, ok := l.pulsed[s.Line]; ok {
			at := p.at
			ls.LastPulseS, ls.LastPulseAt = number(p.open.Seconds()), &at
		}
		if s.Err != nil {
			ls.Trouble = s.Err.Error()
		}
		out = append(out, ls)
	}
	return out
}

// converters is how the converters have been answering, in values of their own.
func (l *Loop) converters(now garden.Moment) []ConverterStatus {
	c, ok := l.p.Sampler.(Converters)
	if !ok {
		return nil
	}
	l.chips = c.Chips(l.chips[:0])
	out := make([]ConverterStatus, 0, len(l.chips))
	for i := range l.chips {
		chip := &l.chips[i]
		cs := ConverterStatus{
			Bus: chip.Bus, Address: chip.Addr, Answers: chip.Asked && chip.Answering,
			Conversions: chip.Conversions, Failed: chip.Failed, ReadS: l.p.ReadTimes.ofChip(chip.Bus, chip.Addr),
		}
		if chip.Asked {
			at := now.Wall.Add(chip.Since.Mono - now.Mono).Round(time.Second)
			cs.Since = &at
		}
		if chip.Err != nil {
			cs.Error = chip.Err.Error()
		}
		l.p.Garden.EachZone(func(_ *garden.Pot, z *garden.Zone) {
			for k := range z.Probes {
				if p := &z.Probes[k]; p.Input.Bus == chip.Bus && p.Input.Addr == chip.Addr && p.Remote == nil {
					cs.Probes = append(cs.Probes, p.ID)
				}
			}
		})
		cs.Bus = cmp.Or(cs.Bus, l.p.Garden.Hardware.I2CBus, l.p.Garden.Hardware.Kind)
		out = append(out, cs)
	}
	sort.SliceStable(out, func(i, j int) bool {
		a, b := &out[i], &out[j]
		return cmp.Or(strings.Compare(a.Bus, b.Bus), int(a.Address)-int(b.Address)) < 0
	})
	return out
}

func weatherLine(obs *garden.Observed) WeatherLine {
	var w WeatherLine
	for _, v := range []struct {
		from garden.Measured
		to   **float64
	}{{obs.Now.TempC, &w.AirC}, {obs.Today.TMinC, &w.TMinC}, {obs.Today.TMaxC, &w.TMaxC}, {obs.Today.RainMM, &w.RainMM}} {
		if v.from.Known {
			*v.to = number(v.from.Value)
		}
	}
	return w
}

func zoneStatus(now garden.Moment, p *garden.Pot, z *garden.Zone, zp *control.ZonePlan, v *control.ZoneView) ZoneStatus {
	s := ZoneStatus{
		Zone: z.ID, Name: z.Name, Pot: p.ID, State: v.State.String(), Empty: v.Empty,
		CapacityL: float64(v.Capacity) * zp.VolumeL, RefillL: float64(v.Refill) * zp.VolumeL,
		Capacity: float64(v.Capacity), RefillPoint: float64(v.Refill),
		VolumeL: zp.VolumeL, LossTodayL: v.LossTodayL,
		Trusted: v.OnProbe, HandTended: zp.HandTended, Line: z.Line, LastLitres: v.LastL,
	}
	if v.Known {
		s.Water = number(float64(v.Water))
		s.HeldL = number(float64(v.Water) * zp.VolumeL)
		if garden.Finite(v.SD) {
			s.SD = v.SD
		}
	}
	if v.Known && !v.Empty {
		s.ToRefillL = number(v.ToRefillL)
		s.HoursLeft = number(v.HoursToRefill)
		s.HoursSoonest, s.HoursLatest = number(v.HoursSoonest), number(v.HoursLatest)
		s.HoursToDry = number(v.HoursToLimit)
	}
	if v.LastWhy.Code != garden.NoReason {
		s.Why = v.LastWhy.String()
	}
	if v.AskedL > 0 {
		s.Asked = &AskedStatus{Litres: v.AskedL, Until: now.Wall.Add(v.AskedTill - now.Mono).Round(time.Second), Waits: v.AskedWaits.String()}
	}
	if v.Salts.Kept() {
		salts := v.Salts
		s.TapSalts = &salts
	}
	if v.LastL > 0 {
		at := now.Wall.Add(v.LastAt.Mono - now.Mono).Round(time.Second)
		s.LastAt = &at
	}
	return s
}

func probeStatus(now garden.Moment, pr *garden.Probe, r *garden.Reading, times *ReadTimes) ProbeStatus {
	s := ProbeStatus{
		Probe: pr.ID, DepthCM: pr.DepthCM, Volts: float64(r.Volts),
		Quality: r.Quality.String(), Fault: r.Fault.String(), AgeS: now.Since(r.At).Seconds(), ReadS: times.of(pr.Input),
	}
	if r.TempC.Known {
		s.TempC = number(r.TempC.Value)
	}
	if r.Quality != garden.Bad {
		s.Water = number(float64(r.Water))
	}
	return s
}

func number(v float64) *float64 { return &v }

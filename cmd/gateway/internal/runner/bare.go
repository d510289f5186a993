package runner

import (
	"fmt"
	"slices"
	"time"

	"fabricpot/control"
	"fabricpot/control/alarm"
	"fabricpot/control/garden"
	"fabricpot/valves"
)

// A gateway that goes on crashing with automatic control off has something in its
// rounds that fails each time: a state it kept, a probe, the weather. So a round does
// none of that any more. The guard's pulses end as ever, each line gets its survival
// dose a day, what people ask for is done, and the alarm goes out. It knows no probe
// and no weather, so it asks for water that a wet pot would not need; the guard bounds
// it to the dose.

const (
	// bareRest is how long a line must have had no water before a dose, bareRetry how
	// long after a refusal it is asked for again.
	bareRest  = 20 * time.Hour
	bareRetry = 10 * time.Minute
	// bareSlack is how much longer than by its nominal flow a line may take.
	bareSlack = 1.25
	// bareWishFor is how long a wish for water waits for its turn, as the controller's
	// do, and mostBare how many of them and of other requests are kept.
	bareWishFor = control.AskLasts
	mostBare    = 64
)

// bare is the state of such rounds.
type bare struct {
	on bool
	// mute tells that the alarms failed too.
	mute bool
	// waits is until when each line waits, on Mono.
	waits map[garden.LineID]time.Duration
	// wishes are for water that had to wait, later what only the controller can do.
	wishes []bareWish
	later  []garden.Ask
}

// bareWish is a person's wish for water.
type bareWish struct {
	garden.Ask
	till time.Duration
}

// barely begins such rounds after what was given in the last day.
func (l *Loop) barely(now garden.Moment, given []garden.Delivery) {
	l.bare.waits = map[garden.LineID]time.Duration{}
	for i := range given {
		d := &given[i]
		rest := bareRest
		if ago := now.Wall.Sub(d.ClosedAt.Wall); now.Synced && d.ClosedAt.Synced && ago > 0 {
			rest -= ago
		}
		if d.Litres > 0 {
			l.bare.waits[d.Line] = max(l.bare.waits[d.Line], now.Mono+rest)
		}
	}
	if h, ok := l.p.History.(LongMemory); ok {
		l.mayFail(now, "recall the alarms", func() { l.recallAlarms(now, h) })
	}
}

// bareRound does one round.
func (l *Loop) bareRound(now garden.Moment) {
	l.obs.Readings = l.obs.Readings[:0]
	l.takeEnded()
	for _, d := range l.obs.Delivered {
		if d.Litres > 0 {
			l.bare.waits[d.Line] = max(l.bare.waits[d.Line], now.Mono+bareRest)
		}
	}
	env := valves.Env{AutoOff: true}
	if l.mayFail(now, "read the gauges", func() { l.gauge(now) }) {
		env.TankL = l.obs.TankL
	}
	l.bareWishes(now, env)
	lines, journal := l.p.Guard.Snapshot(now)
	for i := range lines {
		s, gl := &lines[i], &l.p.Garden.Lines[i]
		if s.Open || s.DoseL <= 0 || len(gl.Outlets) == 0 || now.Mono < l.bare.waits[s.Line] {
			continue
		}
		if cause := l.bareOrder(now, env, gl, gl.Outlets[0].Zone, s.DoseL, garden.Survival, garden.Reason{Code: garden.SurvivalDose, A: s.DoseL}); cause != garden.NotConfirmed {
			l.bare.waits[s.Line] = now.Mono + bareRetry
		}
	}
	l.check(now, "write what was delivered", l.p.Guard.Flush())
	l.keepLimits(now)
	if !l.bare.mute {
		l.bare.mute = !l.mayFail(now, "tell the alarms", func() { l.bareAlarms(now, lines, journal) })
	}
	l.refreshBare(now)
}

// bareWishes gives the water that people asked for, and keeps their other requests for
// the controller.
func (l *Loop) bareWishes(now garden.Moment, env valves.Env) {
	for _, a := range l.asks {
		if a.Kind == garden.AskWater && len(l.bare.wishes) < mostBare {
			l.bare.wishes = append(l.bare.wishes, bareWish{a, now.Mono + bareWishFor})
		} else if len(l.bare.later) < mostBare {
			l.bare.later = append(l.bare.later, a)
		}
	}
	l.asks = l.asks[:0]
	l.bare.wishes = slices.DeleteFunc(l.bare.wishes, func(w bareWish) bool {
		p, z, ok := l.p.Garden.Zone(w.Zone)
		if !ok || now.Mono > w.till {
			return true
		}
		gl, ok := l.p.Garden.Line(z.Line)
		if !ok || gl.ShareOf(z.ID) <= 0 || !(w.Litres > 0) {
			return true
		}
		// What is not asked for too long before the hours waits for them, as people are told;
		// the guard says no to the rest.
		if opens := control.Opens(l.p.Garden.Supply.Hours, now); opens.After(now.Wall) && opens.Sub(now.Wall) <= w.till-now.Mono {
			return false
		}
		litres := min(w.Litres, z.VolumeL(p))
		switch l.bareOrder(now, env, gl, z.ID, litres/gl.ShareOf(z.ID), garden.ByHand, garden.Reason{Code: garden.AskedFor, A: litres}) {
		case garden.SupplyBusy, garden.TooSoon, garden.NotConfirmed, garden.LineBusy, garden.PumpLocked:
			return false
		}
		return true
	})
}

// bareOrder asks the guard for litres through the whole line.
func (l *Loop) bareOrder(now garden.Moment, env valves.Env, gl *garden.Line, zone garden.ZoneID, litres float64, kind garden.OrderKind, why garden.Reason) garden.RefusalCause {
	if gl.FlowLPH() <= 0 {
		return garden.UnknownLine
	}
	o := garden.Order{
		ID: l.p.State.NextOrder, Line: gl.ID, Zone: zone, Litres: litres, Kind: kind, Why: why,
		MaxOn: time.Duration(bareSlack*litres/gl.FlowLPH()*float64(time.Hour)) + 30*time.Second,
	}
	l.p.State.NextOrder++
	l.request(now, env, o)
	defer func() { l.obs.Refused = l.obs.Refused[:0] }()
	if len(l.obs.Refused) > 0 {
		return l.obs.Refused[0].Cause
	}
	return garden.NotRefused
}

// bareAlarms tells what can be told without probes and weather.
func (l *Loop) bareAlarms(now garden.Moment, lines []valves.Status, j valves.Journal) {
	l.crashes(now)
	l.watch.unclosed(now, lines)
	l.watch.unwritten(now, j)
	if l.p.Far != nil {
		for _, w := range l.p.Far.Worries() {
			l.watch.hold(now, w.Kind, w.Subject, w.Text)
		}
	}
	l.worry(now)
	l.watch.flow(now, &l.obs, lines, l.p.Guard.Stray())
	for i := range l.watch.noticed {
		if n := &l.watch.noticed[i]; now.Mono < n.until {
			l.watch.keep(now, n)
		}
	}
	// Nothing here can tell that any other has ended.
	for _, a := range l.watch.book.List() {
		if a.Active && !toldBarely(a.Kind) {
			l.watch.hold(now, a.Kind, a.Subject, a.Text)
		}
	}
	l.tellBroken(now)
	l.tellAlarms(now, l.watch.book.Step(now))
}

// toldBarely are the kinds that such rounds judge.
func toldBarely(k alarm.Kind) bool {
	switch k {
	case alarm.KeepsCrashing, alarm.Crashed, alarm.NotClosed, alarm.JournalUnwritable, alarm.JournalBroken, alarm.FlowWithoutOrder,
		alarm.TankLow, alarm.GaugeDoubtful, alarm.PumpDry, alarm.LinkLost:
		return true
	}
	return false
}

// refreshBare publishes what there is to show: lines, alarms, and pots of which nothing
// is known.
func (l *Loop) refreshBare(now garden.Moment) {
	if !l.publish {
		return
	}
	lines, _ := l.p.Guard.Snapshot(now)
	st := &Status{
		At: now.Wall, Synced: now.Synced, Site: l.p.Garden.Site.Name, Hardware: l.p.Garden.Hardware.Kind,
		Journal: l.p.JournalPath, Ticks: l.ticks, Alarms: l.watch.lines(now),
	}
	st.Lines = l.lineStatuses(lines)
	i := 0
	l.p.Garden.EachZone(func(p *garden.Pot, z *garden.Zone) {
		zp := &l.p.Plan.Zones()[i]
		i++
		zs := zoneStatus(now, p, z, zp, &control.ZoneView{Capacity: zp.Capacity, Refill: zp.LowerLimit})
		zs.ShutUntil = shutUntil(now, z, lines)
		st.Zones = append(st.Zones, zs)
	})
	l.status.Store(st)
}

// mayFail does what must not end the program, and tells whether it went well.
func (l *Loop) mayFail(now garden.Moment, what string, f func()) (well bool) {
	defer func() {
		if r := recover(); r != nil {
			l.p.Tell.Failed(now, what, fmt.Errorf("panic: %v", r))
		}
	}()
	f()
	return true
}

// takeUp gives controller and feeding what earlier runs left, as Begin does.
func (l *Loop) takeUp(now garden.Moment) error {
	past, err := l.p.History.Recent(now)
	if err != nil {
		return fmt.Errorf("runner: the journal's deliveries of the last day: %w", err)
	}
	known := make([]garden.Delivery, 0, len(past))
	for _, d := range past {
		known = append(known, d.Delivery)
	}
	l.bare.on = false
	l.recall(now)
	l.p.Plan.Restore(l.p.State, now, known)
	l.openFeeds(now)
	l.asks = append(l.bare.later, l.asks...)
	for _, w := range l.bare.wishes {
		l.asks = append(l.asks, w.Ask)
	}
	l.bare.later, l.bare.wishes = nil, nil
	l.views = l.p.Plan.View(l.p.State, now, l.views[:0])
	return nil
}

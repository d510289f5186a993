package runner

import (
	"fmt"

	"fabricpot/control/garden"
	"fabricpot/valves"
)

// Tick does one round: sample, decide, act, record, tell.
func (l *Loop) Tick(now garden.Moment) {
	l.ticks++
	l.EndPulses(now)
	l.tryAgain(now)
	if l.bare.on {
		l.bareRound(now)
		return
	}
	l.redate(now)
	l.obs.Readings = l.p.Sampler.Sample(now, l.obs.Readings[:0])
	l.p.Sky.Observe(now, &l.obs)
	l.gauge(now)
	l.takeEnded()
	l.obs.Asks = append(l.obs.Asks[:0], l.asks...)
	l.asks = l.asks[:0]

	l.feed(now)
	for i := range l.obs.Readings {
		l.p.Plan.Confuse(l.p.State, i, l.watch.pairs.Confused(i))
	}
	l.watch.spills(now, l.p.Plan, l.p.State)
	l.orders = l.p.Plan.Step(l.p.State, now, &l.obs, l.orders[:0])
	l.dose(now)
	l.obs.Refused = l.obs.Refused[:0]
	l.came(now)

	for _, s := range l.p.State.Stops() {
		if d, ended := l.p.Guard.Stop(now, s.Line); ended {
			l.keep([]garden.Delivery{d})
		}
	}
	if len(l.orders)+len(l.feeds.orders)+len(l.feeds.unkept) > 0 {
		env := l.env()
		l.requestFeeds(now, env)
		for _, o := range l.orders {
			if !l.heldBack(now, o) {
				l.request(now, env, o)
			}
		}
	}
	l.check(now, "write what was delivered", l.p.Guard.Flush())
	l.memorise(now, false)
	l.keepLimits(now)
	l.unveil()
	l.observe(now)
	l.tellBroken(now)
}

// takeEnded moves what ended since the last tick into the observation.
func (l *Loop) takeEnded() {
	l.mu.Lock()
	l.obs.Delivered = append(l.obs.Delivered[:0], l.ended...)
	l.ended = l.ended[:0]
	l.mu.Unlock()
	if l.silent {
		return
	}
	for _, d := range l.obs.Delivered {
		l.pulsed[d.Line] = pulsed{open: d.Open, at: d.ClosedAt.Wall}
		l.p.Tell.Ended(d)
	}
}

func (l *Loop) request(now garden.Moment, env valves.Env, o garden.Order) {
	r, opened := l.p.Guard.Request(now, env, o)
	if !opened {
		l.obs.Refused = append(l.obs.Refused, r)
	}
	if l.silent {
		return
	}
	if opened {
		l.p.Tell.Opened(now, o)
		l.check(now, "keep a decision", l.p.Journal.Decided(now, o, garden.NotRefused, fmt.Sprintf("%.2f L: %s", o.Litres, o.Why)))
		return
	}
	l.p.Tell.Refused(now, o, r)
	l.check(now, "keep a decision", l.p.Journal.Decided(now, o, r.Cause, fmt.Sprintf("%.2f L refused: %s", o.Litres, o.Why)))
}

// env is what permit should know of the surroundings.
func (l *Loop) env() valves.Env {
	e := valves.Env{AirC: l.obs.Now.TempC, TankL: l.obs.TankL, AutoOff: l.p.State.AutoOff}
	for i := range l.obs.Readings {
		r := &l.obs.Readings[i]
		if r.TempC.Known && r.Quality != garden.Bad && (!e.MixC.Known || r.TempC.Value < e.MixC.Value) {
			e.MixC = r.TempC
		}
	}
	return e
}

// check reports a failure of something that must not stop the loop.
func (l *Loop) check(now garden.Moment, what string, err error) {
	l.watch.journal(err)
	if err != nil {
		l.p.Tell.Failed(now, what, err)
	}
}

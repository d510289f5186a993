package valves

import (
	"time"

	"fabricpot/control/garden"
)

// retryFirst and retryMost bound how long after an unconfirmed close the next
// is commanded: at once while it may help, then without flooding a link.
const (
	retryFirst = 50 * time.Millisecond
	retryMost  = 5 * time.Second
	// lateConfirm is how long a confirmation may take before the pulse counts
	// as ended by a fault. A remote valve's answer takes a moment.
	lateConfirm = 10 * time.Second
	// clockBack is how far the monotonic clock may seem to run backwards
	// between goroutines before the guard stops trusting it.
	clockBack = time.Second
	// rounding is the share of a pulse that a deadline cut to nanoseconds may
	// take from it without counting as having cut it short.
	rounding = 1e-6
)

// Advance closes what is due at now, commands again what is not confirmed
// closed, and returns the deliveries that ended since it was last called. It
// touches no journal: see Flush.
func (g *Guard) Advance(now garden.Moment) []garden.Delivery {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.see(now)
	g.steps.see(now)
	g.closeDue(now)
	for _, ln := range g.lines {
		if ln.pos == unconfirmed && ln.attempts > 0 {
			g.confirm(now, ln)
		}
		if ln.pos == unconfirmed {
			ln.mount(now)
		}
	}
	g.repeatCloses(now)
	out := g.ended
	g.ended = nil
	return out
}

// Stop ends the line's pulse early. It returns the delivery if the close was
// confirmed at once; otherwise Advance returns it when it is.
func (g *Guard) Stop(now garden.Moment, id garden.LineID) (garden.Delivery, bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	ln, ok := g.index(id)
	if !ok || ln.pulse == nil || ln.pos == unconfirmed {
		return garden.Delivery{}, false
	}
	if ln.pos == opening {
		g.abandon(now, ln)
		return garden.Delivery{}, false
	}
	id0 := ln.pulse.order.ID
	ln.pulse.end = garden.Stopped
	g.close(now, ln)
	return g.take(id0)
}

// take removes one delivery from those waiting for Advance.
func (g *Guard) take(id garden.OrderID) (garden.Delivery, bool) {
	for i, d := range g.ended {
		if d.Order == id {
			g.ended = append(g.ended[:i], g.ended[i+1:]...)
			return d, true
		}
	}
	return garden.Delivery{}, false
}

// Unconfirmed lists the lines that are not open on purpose and not confirmed
// closed, with the last error of each where there is one.
func (g *Guard) Unconfirmed() []garden.LineID {
	g.mu.Lock()
	defer g.mu.Unlock()
	var out []garden.LineID
	for _, ln := range g.lines {
		if ln.pos == unconfirmed {
			out = append(out, ln.id)
		}
	}
	return out
}

// closeDue ends every pulse whose litres or deadline are reached. The lock is
// held.
func (g *Guard) closeDue(now garden.Moment) {
	g.protect(now)
	g.doses(now)
	for _, ln := range g.closing {
		p := ln.pulse
		if ln.pos != open || p == nil {
			continue
		}
		if p.byMeter && !g.metered(now) {
			// The meter fell silent: back to nominal flow.
			p.byMeter = false
			p.due = p.openedAt.Mono + dueAfter(p.order.Litres, ln.flowLPH)
		}
		switch {
		case g.latched.Load():
			// Somebody cut every coil off behind our back.
			p.end = garden.Faulted
		case now.Mono < p.openedAt.Mono-clockBack:
			// A monotonic clock that runs backwards can't hold a deadline.
			p.end = garden.Faulted
		case p.byMeter && p.meteredL >= p.order.Litres,
			!p.byMeter && now.Mono >= p.due:
			p.end = garden.Complete
		case now.Mono >= p.deadline:
			p.end = garden.AtDeadline
			if !p.byMeter && nominal(ln.flowLPH, now.Since(p.openedAt)) >= p.order.Litres*(1-rounding) {
				p.end = garden.Complete
			}
		default:
			continue
		}
		g.close(now, ln)
	}
}

// close commands the line closed and finishes its pulse if that is confirmed.
// The lock is held.
func (g *Guard) close(now garden.Moment, ln *line) {
	if ln.pulse != nil {
		ln.pulse.live.Store(false)
	}
	if ln.pos != unconfirmed || ln.attempts == 0 {
		ln.pos, ln.attempts, ln.since = unconfirmed, 0, now.Mono
		ln.retryAt = now.Mono
	}
	g.command(now, ln)
}

// confirm looks whether an earlier command took, and repeats it when its time
// has come. The lock is held.
func (g *Guard) confirm(now garden.Moment, ln *line) {
	if now.Mono >= ln.retryAt || now.Mono < ln.since {
		g.command(now, ln)
		return
	}
	if safeClosed(ln.act) && ln.lastErr == nil {
		g.finish(now, ln)
	}
}

func (g *Guard) command(now garden.Moment, ln *line) {
	ln.attempts++
	if ln.again.latching {
		g.endSoon(now, true)
	}
	err := safeClose(ln.act)
	ln.lastErr = err
	if err != nil {
		ln.failures++
		if ln.pulse != nil {
			ln.pulse.end = garden.Faulted
		}
	} else if safeClosed(ln.act) {
		g.finish(now, ln)
		return
	}
	ln.retryAt = now.Mono + min(retryMost, retryFirst<<min(ln.attempts-1, 10))
}

// finish books a confirmed close. The lock is held.
func (g *Guard) finish(now garden.Moment, ln *line) {
	late := ln.attempts > 0 && now.Mono-ln.since > lateConfirm
	ln.pos, ln.attempts, ln.lastErr = shut, 0, nil
	g.pay(now, ln)
	p := ln.pulse
	if p == nil {
		return
	}
	ln.pulse = nil
	ln.again.begin(now)
	if late {
		p.end = garden.Faulted
	}
	on := now.Since(p.openedAt)
	flowed := nominal(ln.flowLPH, on)
	d := garden.Delivery{
		Order: p.order.ID, Line: ln.id, Zone: p.order.Zone, Kind: p.order.Kind,
		Litres: flowed, Open: on, OpenedAt: p.openedAt, ClosedAt: now, End: p.end,
	}
	if p.byMeter {
		d.Litres, d.Metered, d.OwnLPH, d.Alone = p.meteredL, true, p.own.lph(on), p.own.besideL == 0
	}
	d.DosedL, d.DoseDry = p.dosedL(d.Litres), p.dose.dry
	d.Uncounted = p.meteredL == 0 && g.pump.Fitted && g.pump.FlowWithin > 0
	d.PumpDry, d.TankLow = p.pumpDry, p.tankLow
	// A meter may be dead or blocked emitters may hold water back; against the
	// caps counts whichever says more.
	charged := max(flowed, p.meteredL)
	ln.charges = append(ln.charges.prune(now), charge{
		litres: charged, survival: p.order.Kind == garden.Survival, at: stampOf(now), unwritten: p.unwritten})
	if p.unwritten {
		ln.unwrittenL += charged
	}
	ln.closed, ln.lastClose = true, stampOf(now)
	g.ended = append(g.ended, d)
	g.settleLater(d)
}

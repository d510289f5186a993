package feeding

import (
	"time"

	"fabricpot/control"
	"fabricpot/control/feed"
	"fabricpot/control/garden"
	"fabricpot/control/task"
)

// Seen is what one tick shows.
type Seen struct {
	Obs *garden.Observed
	// Zones is how the controller saw the zones before this tick.
	Zones   []control.ZoneView
	AutoOff bool
}

// Wish is an order without a number, for a zone by its number.
type Wish struct {
	Zone  int
	Order garden.Order
}

// Output is what one step wants. It is reused from step to step.
type Output struct {
	Records []feed.Record
	Events  []task.Event
	Wishes  []Wish
}

func (o *Output) reset() {
	o.Records, o.Events, o.Wishes = o.Records[:0], o.Events[:0], o.Wishes[:0]
}

// NeedsViews reports whether the next Step looks at Seen.Zones, and whether at the hours
// ahead in them as well; making them costs a little. What only comes into a zone is
// booked by its water.
func (p *Plan) NeedsViews(st *State, now garden.Moment, obs *garden.Observed) (any, hours bool) {
	if p.hourDue(st, now) {
		return true, true
	}
	for i := range st.zones {
		if st.zones[i].active() {
			return true, true
		}
	}
	return len(obs.Delivered) > 0 || len(obs.Asks) > 0 || obs.Now.RainMM.Or(0) > 0, false
}

func (p *Plan) hourDue(st *State, now garden.Moment) bool {
	return now.Synced && (!st.hasHour || now.Mono-st.hour >= time.Hour)
}

// active reports whether a zone's sequence has something to decide this tick.
func (zs *zoneState) active() bool {
	if zs.seq == nil {
		return false
	}
	ph := zs.seq.Phase()
	return zs.due.Now || zs.drying || zs.flushL.Known || zs.seq.Dosing() || ph != feed.Waiting && ph != feed.WithGardener
}

// Step takes one tick.
func (p *Plan) Step(st *State, now garden.Moment, v *Seen, out *Output) {
	out.reset()
	st.snapshots = nil
	p.listen(st, now, v)
	hourly := p.hourDue(st, now)
	if hourly {
		p.hourly(st, now, v, out)
	}
	for i := range st.zones {
		zs := &st.zones[i]
		if zs.seq == nil || p.zones[i].led || !hourly && !zs.active() {
			continue
		}
		p.sequence(st, i, now, v, out)
		zs.washLater = p.keepsWash(st, i, now)
	}
	if hourly {
		p.work(st, now, v, out)
	}
}

// listen books what came into the zones and takes up wishes for a feed.
func (p *Plan) listen(st *State, now garden.Moment, v *Seen) {
	for i := range st.zones {
		st.zones[i].sinceL = 0
	}
	for k := range v.Obs.Delivered {
		d := &v.Obs.Delivered[k]
		if !garden.Finite(d.Litres) || d.Litres <= 0 {
			continue
		}
		line, ok := p.g.Line(d.Line)
		if !ok {
			continue
		}
		for i := range line.Outlets {
			if z := p.Index(line.Outlets[i].Zone); z >= 0 {
				p.came(st, z, d.Litres*line.ShareOf(line.Outlets[i].Zone), p.g.Supply.ECmS.Or(0), v)
			}
		}
	}
	for k := range v.Obs.Asks {
		a := &v.Obs.Asks[k]
		i := p.Index(a.Zone)
		switch {
		case i < 0:
		case a.Kind == garden.AskFeed && now.Synced:
			st.zones[i].asks = append(st.zones[i].asks, window{now.Wall, now.Wall.Add(48 * time.Hour)})
		case a.Kind == garden.GardenerWatered && garden.Finite(a.Litres) && a.Litres > 0:
			p.came(st, i, min(a.Litres, 3*p.zones[i].volumeL), p.g.Supply.ECmS.Or(0), v)
			st.zones[i].hand.owedL = max(0, st.zones[i].hand.owedL-a.Litres)
		}
	}
	for i := range st.zones {
		zs := &st.zones[i]
		if mm := v.Obs.Now.RainMM; mm.Known && mm.Value > 0 {
			p.came(st, i, min(mm.Value, 500)*p.zones[i].areaM2, 0, v)
		}
		if zs.order == 0 {
			continue
		}
		ended := now.Mono >= zs.orderTill
		for k := range v.Obs.Delivered {
			ended = ended || v.Obs.Delivered[k].Order == zs.order
		}
		for k := range v.Obs.Refused {
			ended = ended || v.Obs.Refused[k].Order == zs.order
		}
		if ended {
			zs.order = 0
		}
	}
}

// came books litres of water of that conductivity (mS/cm) that came into a zone:
// what it has no room for drains. What feed adds is booked with its records.
func (p *Plan) came(st *State, i int, litres, ecMS float64, v *Seen) {
	if i >= len(v.Zones) || !garden.Finite(litres) {
		return
	}
	zs := &st.zones[i]
	room := max(0, float64(v.Zones[i].Capacity)-float64(v.Zones[i].Water))*p.zones[i].volumeL - zs.sinceL
	zs.overL += max(0, litres-max(0, room))
	zs.sinceL += litres
	if zs.seq != nil && zs.has && p.saltKnown() && litres > 0 {
		_ = zs.salts.Enter(litres, min(ecMS, 20))
	}
}

// look is what a zone's feeding is decided by, whatever its water.
func (p *Plan) look(st *State, i int, now garden.Moment, v *Seen) feed.View {
	zp, zs := &p.zones[i], &st.zones[i]
	fv := feed.View{
		Starter: zp.starter.N > 0,
		Due:     zs.due, Portion: zs.portio, PPM: zs.ppm, Stage: zs.stage,
		TempC: p.temperature(i, v.Obs), RainMM: rainAhead(now, v.Obs), FeedMS: zs.feedMS, DrainMS: zs.reading(now),
		FlushL: zs.flushL, FlushMS: zs.flushMS, FlushWholeL: zs.flushAll,
		Delivered: v.Obs.Delivered, Refused: v.Obs.Refused,
	}
	if fv.RainMM.Known {
		fv.RainL = garden.Known(fv.RainMM.Value * zp.areaM2)
	}
	return fv
}

// sequence takes one zone's feed a step further.
func (p *Plan) sequence(st *State, i int, now garden.Moment, v *Seen, out *Output) {
	zp, zs := &p.zones[i], &st.zones[i]
	if i >= len(v.Zones) {
		return
	}
	zv := &v.Zones[i]
	fv := p.look(st, i, now, v)
	if zv.OnProbe {
		fv.Water = garden.Known(float64(zv.Water))
	}
	if zp.line != "" {
		fv.FlushBlocked = zv.State == garden.KeptShut || v.AutoOff || !p.room(st, zp.feed.Flush.FlowLPH, now, v)
	}
	p.flushFor(st, i, &fv)
	if zs.empty = zv.Empty; p.bare(st, i) { // nobody is there to feed, nor to wash for
		fv.Due.Now, fv.FlushL = false, garden.Measured{}
	}
	if zv.Known {
		fv.HoursToRefill = garden.Known(zv.HoursToRefill)
	}
	if zp.line != "" {
		fv.Watering = zv.State == garden.Pulsing || zv.State == garden.Soaking
	}
	if zp.feed.Line != "" {
		fv.Blocked = zv.State == garden.KeptShut || v.AutoOff || !p.room(st, zp.feed.FlowLPH, now, v)
	}
	full := p.fit(zp, zs, &fv)
	o := feed.Step(zp.feed, zs.seq, now, &fv)
	if full.Hold != feed.NoHold && o.Held.Hold == feed.NothingDue {
		o.Held = full
	}
	if zs.held = o.Held; zp.weak && zs.seq.Phase() == feed.Waiting {
		zs.held = zs.plain
	}
	zs.wait(now)
	zs.drying = !p.bare(st, i) && p.makesRoom(zp, zs, now, v, &fv)
	if o.OpenTask {
		p.openFeed(st, i, now, zv, out)
	}
	if len(o.Records) > 0 {
		p.enter(st, i, o.Records, out)
		p.flushes(st, i, o.Records, v, out)
		p.judge(st, i, now)
	}
	if o.HasOrder {
		out.Wishes = append(out.Wishes, Wish{Zone: i, Order: o.Order})
		// Until Bind tells its number, the line counts as open.
		zs.order, zs.orderTill = ^garden.OrderID(0), now.Mono+o.Order.MaxOn
	}
}

// wait counts for how long pot or weather have kept a due feed back.
func (zs *zoneState) wait(now garden.Moment) {
	since := now.Mono - zs.looked
	zs.looked = now.Mono
	switch zs.held.Hold {
	case feed.Saturated, feed.NoRoom, feed.RainAhead, feed.TooCold, feed.TooHot, feed.Salty:
		// The first look may come long after the last one.
		zs.waited += min(max(since, 0), time.Hour)
	}
	if !zs.due.Now {
		zs.waited = 0
	}
}

// enter puts a zone's new records into its ledger and into the books of the
// zones that the same line feeds along with it.
func (p *Plan) enter(st *State, i int, records []feed.Record, out *Output) {
	zp, zs := &p.zones[i], &st.zones[i]
	out.Records = append(out.Records, records...)
	for _, r := range records {
		if !r.Gives() || r.Litres <= 0 {
			continue
		}
		// Each watering that carries feed stands for itself.
		alone := r.Kind == feed.DoseSettled
		// Grams of a checked strength and finite litres are always valid.
		_ = zs.ledger.Feed(r.Grams())
		p.dissolve(i, zs, r.Grams().N)
		if r.Kind != feed.PulseSettled && !alone {
			continue
		}
		for _, s := range zp.shares {
			other := &st.zones[s.zone]
			if other.seq == nil {
				continue
			}
			id := other.seq.Feed()
			if r.Pulse <= 1 || id == 0 {
				id++
			}
			o := feed.Record{
				Kind: feed.HandGiven, Zone: p.zones[s.zone].zone, Feed: id, At: r.At, Litres: r.Litres * s.per,
				PPM: r.PPM, Stage: other.stage, Why: r.Why, Uncertain: r.Uncertain,
			}
			other.seq.Apply(o)
			_ = other.ledger.Feed(o.Grams())
			p.dissolve(s.zone, other, o.Grams().N)
			out.Records = append(out.Records, o)
		}
	}
}

// room reports whether the line may run now: within the hours, with time left
// before they end, and without asking more of the supply than it carries.
func (p *Plan) room(st *State, lineLPH float64, now garden.Moment, v *Seen) bool {
	supply := &p.g.Supply
	if len(supply.Hours) > 0 && (!now.Synced || !within(supply.Hours, now.Wall) || !within(supply.Hours, now.Wall.Add(time.Hour))) {
		return false
	}
	flow := 0.0
	for id, l := range p.lines {
		for i := range v.Zones {
			if v.Zones[i].Line == id && v.Zones[i].State == garden.Pulsing {
				flow += l.flowLPH
				break
			}
		}
	}
	p.Lent(st, func(id garden.LineID, open, _ bool) {
		if open {
			flow += p.lines[id].flowLPH
		}
	})
	if supply.FlowLPH <= 0 {
		return flow == 0
	}
	return flow+lineLPH <= supply.FlowLPH*(1+1e-9)
}

func within(ws []garden.DayWindow, t time.Time) bool {
	for i := range ws {
		if ws[i].Contains(t) {
			return true
		}
	}
	return false
}

// temperature is the mix's, the mean of the zone's probes that tell one; the
// air's stands in for it.
func (p *Plan) temperature(i int, obs *garden.Observed) garden.Measured {
	zp := &p.zones[i]
	var sum, n float64
	for k := zp.probeFrom; k < zp.probeFrom+zp.probes && k < len(obs.Readings); k++ {
		if r := &obs.Readings[k]; r.TempC.Known && r.Quality != garden.Bad {
			sum, n = sum+r.TempC.Value, n+1
		}
	}
	if n > 0 {
		return garden.Known(sum / n)
	}
	return obs.Now.TempC
}

// rainAhead is what is expected in the next twelve hours: the day's figure by
// the hours that are left of it, and the next day's for the rest.
func rainAhead(now garden.Moment, obs *garden.Observed) garden.Measured {
	if !now.Synced || !obs.Today.RainMM.Known {
		return garden.Measured{}
	}
	left := 24 - float64(now.Wall.Hour()) - float64(now.Wall.Minute())/60
	mm := obs.Today.RainMM.Value * min(left, 12) / 24
	if left < 12 && len(obs.Ahead) > 0 {
		mm += obs.Ahead[0].RainMM.Or(0) * (12 - left) / 24
	}
	return garden.Known(mm)
}

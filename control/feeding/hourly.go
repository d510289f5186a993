package feeding

import (
	"math"
	"time"

	"fabricpot/control/feed"
	"fabricpot/control/garden"
)

// All are our judgement.
const (
	// snapEvery is how often the ledgers are kept.
	snapEvery = 6 * time.Hour
	// mostPass is the longest time that one look lets pass in a ledger; what is
	// older is not known well enough.
	mostPass = 60 * 24 * time.Hour
	// handAhead is how long before its hour a feed by hand is on the list.
	handAhead = 12 * time.Hour
	// stoodBefore is how long plants may have stood in a pot for its account of
	// salts to begin as that of a fresh mix.
	stoodBefore = 14 * 24 * time.Hour
	// drainsRicher is how many times the pot's mean drainage has: what is dissolved goes
	// down with each watering. A simulated pot's first wash took up to three quarters of
	// its nitrogen where a well-mixed pot's takes a fifth. It is less than for the tap's
	// salts alone (control/washing.go, drainsTimes), which all come from above, while the
	// mix's own charge dissolves at every depth; in the account of salts the one figure
	// stands for both and errs towards more salt.
	drainsRicher = 1.5
	// keepsDrained is the share of the water held that has drained since the last look when
	// a ledger is kept out of turn: a start must not find food that a wash took out.
	keepsDrained = 0.02
	// usualDays is the memory of a zone's usual daily loss.
	usualDays = 10.0
)

// hourly moves the ledgers on and judges what is due.
func (p *Plan) hourly(st *State, now garden.Moment, v *Seen, _ *Output) {
	st.hour, st.hasHour, st.wall = now.Mono, true, now.Wall
	if st.began.IsZero() {
		st.began = now.Wall
	}
	keep := now.Wall.Sub(st.snap) >= snapEvery
	if keep {
		st.snap = now.Wall
	}
	for i := range st.zones {
		st.zones[i].empty = i < len(v.Zones) && v.Zones[i].Empty
	}
	for i := range st.zones {
		zs := &st.zones[i]
		if zs.seq == nil || i >= len(v.Zones) {
			continue
		}
		zs.stage = p.zones[i].stageOf(now.Wall)
		zs.portio, zs.ppm, zs.feedMS = p.zones[i].portionAt[zs.stage], p.zones[i].ppmAt[zs.stage], p.zones[i].feedMSAt[zs.stage]
		drained := zs.overL > keepsDrained*p.zones[i].held()
		p.pass(st, i, now, v.Zones[i].LossTodayL, float64(v.Zones[i].Water))
		p.judge(st, i, now)
		p.judgeSalts(st, i, now, &v.Zones[i])
		if keep || drained {
			s := Snapshot{Zone: p.zones[i].zone, At: now.Wall, Began: st.began, Ledger: zs.ledger}
			if p.saltKnown() {
				salts := zs.salts
				s.Salts = &salts
			}
			st.snapshots = append(st.snapshots, s)
		}
	}
}

// need is what the zone's plants take up in a day, g: in their stage, or without a day of
// planting on the mean.
func (z *zonePlan) need(s feed.Stage, ratio garden.Measured) feed.NPK {
	if z.planted.IsZero() {
		return feed.MeanUptake(z.hunger, z.hunger.YieldKG, z.stages, ratio).Times(z.plants)
	}
	return feed.DailyUptake(z.hunger, z.hunger.YieldKG, s, z.stages, ratio).Times(z.plants)
}

// pass lets the time since the last look go by in a zone's ledger.
func (p *Plan) pass(st *State, i int, now garden.Moment, lossL, water float64) {
	zp, zs := &p.zones[i], &st.zones[i]
	if !zs.has {
		p.open(zp, zs, now.Wall)
		if p.saltKnown() {
			zs.salts = p.freshSalts(i, water, zs.ledger.Pool.N)
			// With no day of planting the mix is taken for fresh, as by the ledger.
			zs.salts.Guess = !zp.planted.IsZero() && now.Wall.Sub(zp.planted) > stoodBefore
		}
	}
	days := min(max(now.Wall.Sub(zs.at), 0), mostPass).Hours() / 24
	var ratio garden.Measured
	if lossL > 0 && garden.Finite(lossL) {
		if zs.usualLossL <= 0 {
			zs.usualLossL = lossL
		}
		zs.usualLossL += min(days/usualDays, 1) * (lossL - zs.usualLossL)
		ratio = garden.Known(lossL / zs.usualLossL)
	}
	if zs.demand = zp.need(zs.stage, ratio); zs.empty {
		zs.demand = feed.NPK{} // nothing is there that eats
	}
	held := max(water, zp.lower, 0.05) * zp.volumeL
	// Finite amounts of 0 or more go in, so neither can fail.
	before := zs.ledger.Reserve.N
	taken, _ := zs.ledger.Pass(days, zs.demand)
	_, _ = zs.ledger.Leach(drainsRicher*zs.overL, held)
	p.passSalts(i, zs, before-zs.ledger.Reserve.N, taken.N, held)
	if days > 0 {
		zs.usualOverL += min(days/usualDays, 1) * (zs.overL/days - zs.usualOverL)
	}
	zs.overL, zs.at = 0, now.Wall
}

// open begins a zone's ledger with the mix's starter charge, less what plants
// that stand there already have had of it.
func (p *Plan) open(zp *zonePlan, zs *zoneState, at time.Time) {
	// A checked mix has a valid charge; if not, the ledger begins empty.
	zs.ledger, _ = feed.NewLedger(zp.starter, 0)
	zs.has, zs.at = true, at
	if zp.planted.IsZero() {
		return
	}
	for d := zp.planted; at.Sub(d) >= 24*time.Hour; d = d.AddDate(0, 0, 1) {
		if _, err := zs.ledger.Pass(1, zp.need(zp.stageOf(d), garden.Measured{})); err != nil {
			return
		}
	}
}

// bare tells that nothing grows in a zone, nor in any that is fed along with it: one that
// leads its line is judged for all of them.
func (p *Plan) bare(st *State, i int) bool {
	if !st.zones[i].empty {
		return false
	}
	for _, s := range p.zones[i].shares {
		if p.zones[s.zone].feed != nil && !st.zones[s.zone].empty {
			return false
		}
	}
	return true
}

// judge says whether a zone's feed is due.
func (p *Plan) judge(st *State, i int, now garden.Moment) {
	zp, zs := &p.zones[i], &st.zones[i]
	if !now.Synced {
		return
	}
	if p.bare(st, i) {
		zs.due = feed.Due{Stage: zs.stage}
		return
	}
	since := st.began
	if zp.planted.After(since) {
		since = zp.planted
	}
	left := garden.Measured{}
	if zs.has {
		held := max(zp.capacity, 0.05) * zp.volumeL
		leach := -math.Expm1(-drainsRicher * zs.usualOverL / held)
		left = garden.Known(zs.ledger.DaysOfN(zs.demand.N, leach))
		sure := zs.ledger
		sure.Pool.N = max(0, sure.Pool.N-mayHaveLeft*(sure.Taken.N+sure.Leached.N))
		zs.sureDays = sure.DaysOfN(zs.demand.N, leach)
	}
	last, stage, ever := zs.seq.Last()
	if !ever {
		last = time.Time{}
	}
	if zp.weak {
		// Nothing is due: what the waterings carry is decided with each.
		zs.due = feed.Due{First: !ever, NDaysLeft: left, Stage: zs.stage, DaysSince: max(0, now.Wall.Sub(since).Hours()/24)}
		if ever {
			zs.due.DaysSince = max(0, now.Wall.Sub(last).Hours()/24)
		}
		zs.asks = zs.asks[:0]
		return
	}
	was := zs.due
	zs.due = feed.Assess(feed.Situation{
		Today: now.Wall, Since: since, Last: last, LastStage: stage, Stage: zs.stage, Habit: zp.hunger.Habit,
		IntervalDays: zp.spec.IntervalDays, Starter: zp.starter.N > 0, NDaysLeft: left, Asked: zs.asked(now.Wall),
	})
	zs.firstDay(was, now)
	// Anew each time: what is asked or noted has it judged again within the hour.
	zs.portio = zp.portionAt[zs.stage]
	zs.portio.Litres *= p.spared(st, i)
	if d := &zs.due; zp.feed.Line == "" && !d.Now && !d.NextOn.IsZero() && d.NextOn.Sub(now.Wall) <= handAhead &&
		d.DaysSince >= feed.MinIntervalDays {
		// A person comes once a day: work of this evening is on the list by noon.
		d.Now, d.Why = true, feed.ByInterval
	}
	for len(zs.asks) > 0 && !now.Wall.Before(zs.asks[0].to) {
		zs.asks = zs.asks[1:]
	}
}

// Both are our judgement, tried on the simulator's pots: a pot that is full of its mix's
// charge when salts ask for its first wash loses more than half of it.
const (
	// leastFed is the least share of a dose that a feed gives while the mix still feeds.
	leastFed = 0.2
	// mayHaveLeft is how much more nitrogen may have left a pot than its account says, as a
	// share of that: plants may grow larger than the yield that was written, and drainage
	// may be richer still. With less of it for what drained, or for what was eaten, a chilli
	// that drinks two thirds more than its yield needs went short.
	mayHaveLeft = 0.7
)

// spared is the share of its dose that the coming feed gives, 0 to 1: less while the mix's
// starter charge still feeds the plants. Where it would last beyond the feed after this
// one, much of what is given now is leached, and until then it is salt. It ends once as
// much has left the pot as the charge brought: from then on what the account holds hangs on
// figures of yield that may be wrong. A dose that the gardener wrote, or a feed asked for,
// stays what it is, and so does one that another pot of the line is fed along with and
// needs whole.
func (p *Plan) spared(st *State, i int) float64 {
	share := 0.0
	if !st.zones[i].empty {
		share = st.zones[i].spares(&p.zones[i])
	}
	for _, s := range p.zones[i].shares {
		if p.zones[s.zone].feed != nil && !st.zones[s.zone].empty {
			share = max(share, st.zones[s.zone].spares(&p.zones[s.zone]))
		}
	}
	return share
}

func (zs *zoneState) spares(zp *zonePlan) float64 {
	d, l := &zs.due, &zs.ledger
	if zp.spec.DoseL.Known || d.Why == feed.ByAsk || !d.NDaysLeft.Known || !(d.IntervalDays > 0) ||
		l.Taken.N+l.Leached.N >= l.Starter.N {
		return 1
	}
	return min(max(2-zs.sureDays/d.IntervalDays, leastFed), 1)
}

// firstDay keeps the day on which a first feed fell due: it is told by the ledger,
// which may sink by days at once, as after rain, and that is no delay.
func (zs *zoneState) firstDay(was feed.Due, now garden.Moment) {
	d := &zs.due
	switch {
	case !d.First || !d.Now || d.Why != feed.ByInterval:
		zs.firstDue = time.Time{}
		return
	case zs.firstDue.IsZero():
		if zs.firstDue = d.NextOn; !was.NextOn.IsZero() {
			zs.firstDue = now.Wall
		}
	}
	if zs.firstDue.After(d.NextOn) {
		d.NextOn = zs.firstDue
		d.OverdueDays = max(0, now.Wall.Sub(d.NextOn).Hours()/24)
		d.Missed = int(d.OverdueDays / d.IntervalDays)
	}
}

// Judge says what is due without a tick: for a list shown before the first one,
// or with no gateway running.
func (p *Plan) Judge(st *State, now garden.Moment) {
	now.Synced = true
	if st.began.IsZero() {
		return
	}
	for i := range st.zones {
		zp, zs := &p.zones[i], &st.zones[i]
		if zs.seq == nil {
			continue
		}
		zs.stage = zp.stageOf(now.Wall)
		zs.portio, zs.ppm, zs.feedMS = zp.portionAt[zs.stage], zp.ppmAt[zs.stage], zp.feedMSAt[zs.stage]
		zs.demand = zp.need(zs.stage, garden.Measured{})
		p.judge(st, i, now)
	}
}

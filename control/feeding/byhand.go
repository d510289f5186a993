package feeding

import (
	"math"
	"time"

	"fabricpot/control"
	"fabricpot/control/garden"
	"fabricpot/control/task"
)

const (
	// askFrom is how much of a band a zone must miss before a person is sent to it
	// in place of its line, or two cans would be asked for where one does.
	askFrom = 0.5
	// dryLooks is in how many hourly looks in a row a zone must be half way from its
	// refill point to its lower limit: a line that works has refilled it before.
	dryLooks = 2
)

// handState is what a person has to bring a zone whose line brings nothing.
type handState struct {
	// on tells that nothing in the zone answers to its line's water: owedL was
	// missing then, with its book at bookL, L.
	on           bool
	owedL, bookL float64
	// filled tells that a can from the list was ticked since the last look, tickedAt when
	// one was, as far as the journal told at the start.
	filled   bool
	tickedAt time.Time
	// dry counts the looks at which the zone was as dry as that.
	dry int
	// listed tells that the list asks for a can, as it was at the last look.
	listed bool
}

// GotWater is the part of its band that a pot must be over its refill point to count as
// watered.
const GotWater = 0.25

// pulled is why an empty pot's tasks are taken back.
const pulled = "its plants were pulled"

// waterTask asks for a can of water where a zone without a line is under its
// refill point, and takes that back where it has got some.
func (p *Plan) waterTask(st *State, i int, now garden.Moment, zv *control.ZoneView, open []task.Listed, out *Output) {
	zp := &p.zones[i]
	old := find(open, task.Water, zp.zone)
	switch {
	case zv.Empty && old != nil:
		st.overtake(old, pulled, now, out)
	case zv.Empty || !zv.Known:
	case zv.ToRefillL > GotWater*zp.bandL(zv) && old != nil:
		st.overtake(old, "it has got water", now, out)
	case zv.ToRefillL <= 0:
		p.askWater(st, i, now, zv, old, zp.roomL(zv), "it is under its refill point", out)
	}
}

// standIn asks for cans of water where a zone's line brings it none: none of its
// probes moved after water that must have reached them, or it is far under its
// refill point and stays so. In the first case nothing measures the zone any more, and
// what the line is said to have brought may never have come: then a person brings
// what the zone lost since, until it runs out below.
func (p *Plan) standIn(st *State, i int, now garden.Moment, zv *control.ZoneView, open []task.Listed, out *Output) {
	zp, h := &p.zones[i], &st.zones[i].hand
	old := find(open, task.Water, zp.zone)
	h.listed = old != nil
	if !zv.NoAnswer || zv.Empty {
		h.on, h.filled = false, false
	}
	if zv.Empty {
		if h.dry = 0; old != nil {
			st.overtake(old, pulled, now, out)
		}
		return
	}
	dry := zv.OnProbe && float64(zv.Water) < (float64(zv.Refill)+zp.lower)/2
	if !dry {
		h.dry = 0
	}
	switch {
	case zv.NoAnswer:
		if !h.on {
			// Half of the water that nothing answered to is still believed.
			*h = handState{on: true, owedL: zp.roomL(zv) + zv.LastL/2, bookL: zv.BookL, listed: h.listed}
		}
		h.owedL, h.bookL, h.filled = h.owes(zp, zv), zv.BookL, false
		if h.owedL >= askFrom*zp.bandL(zv) {
			p.askWater(st, i, now, zv, old, h.owedL, "no probe moved after its last water: see whether it comes out of every emitter", out)
		}
	case dry:
		if h.dry++; h.dry >= dryLooks {
			p.askWater(st, i, now, zv, old, zp.roomL(zv), "it is far under its refill point and its line has not watered it", out)
		}
	case old != nil && zv.OnProbe && zv.ToRefillL > GotWater*zp.bandL(zv):
		st.overtake(old, "it has got water", now, out)
	}
}

// owes is what a person is to bring by now, L: all that the zone lost since it was full.
func (h *handState) owes(zp *zonePlan, zv *control.ZoneView) float64 {
	if h.filled {
		return 0
	}
	return min(h.owedL+zv.Factor*(zv.BookL-h.bookL), (float64(zv.Capacity)-zp.lower)*zp.volumeL)
}

// Remember adds to a memory what people are still to bring in place of lines. zones is
// how the controller sees them now.
func (p *Plan) Remember(st *State, zones []control.ZoneView, m *control.Memory) {
	for k := range m.Zones {
		i := p.Index(m.Zones[k].Zone)
		if i < 0 || i >= len(zones) || !st.zones[i].hand.on || !zones[i].NoAnswer {
			continue
		}
		owed := st.zones[i].hand.owes(&p.zones[i], &zones[i])
		m.Zones[k].OwedL = &owed
	}
}

// owedFor is how long what a person is to bring says something of a pot of which nobody
// kept account meanwhile. Our judgement.
const owedFor = 48 * time.Hour

// Recall brings what people were to bring into a state that is fresh as the controller's
// is: nothing was lost yet by its book. A can that was ticked after the memory was made
// has filled its pot. What is old, not finite or out of bounds is left out: then what is
// owed is reckoned as where nothing moves for the first time.
func (p *Plan) Recall(st *State, now garden.Moment, m *control.Memory) {
	if now.Synced && now.Wall.Sub(m.At) > owedFor {
		return
	}
	for k := range m.Zones {
		r := &m.Zones[k]
		i := p.Index(r.Zone)
		if i < 0 || !r.NoAnswer || r.OwedL == nil || !garden.Finite(*r.OwedL) || *r.OwedL < 0 {
			continue
		}
		h := &st.zones[i].hand
		h.on, h.owedL, h.bookL, h.filled = true, min(*r.OwedL, p.zones[i].volumeL), 0, h.tickedAt.After(m.At)
	}
}

// Cans calls each with every zone for which the list asks for a can in place of its line:
// somebody may pour it at any time.
func (p *Plan) Cans(st *State, each func(zone garden.ZoneID)) {
	for i := range st.zones {
		if st.zones[i].hand.listed && p.zones[i].line != "" {
			each(p.zones[i].zone)
		}
	}
}

// askWater puts a can of so many litres on the list, or changes what old asks for.
func (p *Plan) askWater(st *State, i int, now garden.Moment, zv *control.ZoneView, old *task.Listed, litres float64, why string, out *Output) {
	zp := &p.zones[i]
	litres = math.Round(10*litres) / 10
	day := now.Wall
	if old != nil {
		if math.Abs(litres-old.Litres) < ChangeShare*old.Litres {
			return
		}
		day = old.Opened
	}
	t, err := task.NewWater(task.WaterInput{
		Zone: zp.zone, Name: zp.name, Day: day, Litres: litres, VolumeL: zp.volumeL,
		Why: why, HoursLeft: garden.Known(zv.HoursToLimit), HoseLPM: p.g.HoseLPM,
	})
	if err != nil {
		return
	}
	switch {
	case old != nil:
		t.ID = old.ID
	case st.book.Closed(t.ID):
		// It was ticked today already and is dry again.
		t.ID += "-" + now.Wall.Format("1504")
	}
	st.zones[i].hand.listed = true
	st.add(t, out)
}

func (st *State) overtake(t *task.Listed, why string, now garden.Moment, out *Output) {
	if e, err := st.book.Overtake(t.ID, why, now.Wall); err == nil {
		out.Events = append(out.Events, e)
	}
}

// roomL is what a zone takes until it is full, L.
func (zp *zonePlan) roomL(zv *control.ZoneView) float64 {
	return max(0, float64(zv.Capacity)-float64(zv.Water)) * zp.volumeL
}

// bandL is what a zone loses from full until it is to be refilled, L.
func (zp *zonePlan) bandL(zv *control.ZoneView) float64 {
	return (float64(zv.Capacity) - float64(zv.Refill)) * zp.volumeL
}

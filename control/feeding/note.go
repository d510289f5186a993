package feeding

import (
	"fmt"
	"slices"
	"strings"

	"fabricpot/control/feed"
	"fabricpot/control/garden"
	"fabricpot/control/task"
)

// Week is what a zone's records of the last seven days say.
type Week struct {
	Dips, SaturatedHours, HottestC, ColdestC garden.Measured
	// Water and Refill are water fractions now.
	Water, Refill garden.Measured
}

// Facts are a zone's records as an answer needs them.
func (p *Plan) Facts(st *State, i int, now garden.Moment, w Week) task.Facts {
	zp, zs := &p.zones[i], &st.zones[i]
	f := task.Facts{
		Dips: w.Dips, SaturatedHours: w.SaturatedHours, HottestC: w.HottestC, ColdestC: w.ColdestC,
		Water: w.Water, Refill: w.Refill, Capacity: garden.Known(zp.capacity),
		DrainMS: zs.drain, FeedMS: zs.feedMS, SaltMS: p.saltMS(st, i),
	}
	if !zp.planted.IsZero() && now.Wall.After(zp.planted) {
		f.DaysSincePlanting = garden.Known(now.Wall.Sub(zp.planted).Hours() / 24)
	}
	if zs.seq != nil {
		if at, _, ok := zs.seq.Last(); ok {
			f.DaysSinceFeed = garden.Known(max(0, now.Wall.Sub(at).Hours()/24))
		}
		if zs.has && zs.demand.N > 0 {
			f.NDaysLeft = zs.due.NDaysLeft
		}
	}
	return f
}

// AlikeFed lists the zones that are fed alike: with the same products in the same
// shares, i itself left out. Of a zone that is not fed, those that are not fed
// either.
func (p *Plan) AlikeFed(i int) []garden.ZoneID {
	var out []garden.ZoneID
	for k := range p.zones {
		if k != i && p.zones[k].plants > 0 && slices.Equal(p.zones[k].spec.Products, p.zones[i].spec.Products) {
			out = append(out, p.zones[k].zone)
		}
	}
	return out
}

// Noted is what an observation came to.
type Noted struct {
	Answer task.Answer `json:"answer"`
	// Plan is the recovery, where one fits.
	Plan   []task.PlanStep `json:"plan,omitempty"`
	Events []task.Event    `json:"-"`
	// Also are the answers to the other signs that the same look came to.
	Also []Noted `json:"also,omitempty"`
}

// Note answers an observation and puts what follows from it on the list: the
// look again, and where hunger is likely the steps of a recovery, whose feeds
// are asked of the sequence and never given on top of it.
func (p *Plan) Note(st *State, now garden.Moment, o task.Observation, f task.Facts) (Noted, error) {
	i := p.Index(o.Zone)
	if i < 0 {
		return Noted{}, fmt.Errorf("there is no zone %q; zones are %s", o.Zone, strings.Join(p.names(), ", "))
	}
	zp := &p.zones[i]
	o.Name, o.At = zp.name, now.Wall
	var n Noted
	var err error
	if n.Answer, err = task.Respond(o, f); err != nil {
		return Noted{}, err
	}
	var out Output
	if n.Answer.LookAgain != nil {
		st.add(*n.Answer.LookAgain, &out)
	}
	if n.Answer.Recover && !p.recovering(st, zp.zone, now) {
		in := task.RecoveryInput{Zone: zp.zone, Name: zp.name, Start: now.Wall, VolumeL: zp.volumeL, HoseLPM: p.g.HoseLPM, Facts: f}
		if f.Water.Known && f.Refill.Known && f.Water.Value < f.Refill.Value {
			in.SoakL = (zp.capacity - f.Water.Value) * zp.volumeL
		}
		if n.Plan, err = task.Recovery(in); err != nil {
			return Noted{}, err
		}
		for _, s := range n.Plan {
			// Where a line brings the water, the soak is the line's business.
			if s.Task != nil && (s.Task.Kind != task.Water || zp.line == "") {
				st.add(*s.Task, &out)
			}
		}
	}
	for _, e := range out.Events {
		st.recall(p, e)
	}
	n.Events = out.Events
	if st.zones[i].seq != nil && now.Synced {
		p.judge(st, i, now)
	}
	return n, nil
}

// recovering reports whether a recovery of the zone is on the list already.
func (p *Plan) recovering(st *State, z garden.ZoneID, now garden.Moment) bool {
	for _, t := range st.book.List(now.Wall) {
		if t.Zone == z && (t.Kind == task.Prune || t.Kind == task.Look && t.ID == recoveryLook(z, t.Opened)) {
			return true
		}
	}
	return false
}

func (p *Plan) names() []string {
	out := make([]string, 0, len(p.zones))
	for i := range p.zones {
		out = append(out, p.zones[i].id)
	}
	return out
}

// Stock is what an injector's stock solution is mixed from.
type Stock struct {
	Line   garden.LineID `json:"line"`
	Ratio  float64       `json:"ratio"`
	Recipe feed.Recipe   `json:"recipe"`
}

// Stocks lists the stock solutions of the garden's injectors, in the order of
// the lines.
func (p *Plan) Stocks() []Stock {
	var out []Stock
	for k := range p.g.Lines {
		l := &p.g.Lines[k]
		lp := p.lines[l.ID]
		if lp.lead < 0 {
			continue
		}
		if r, err := p.Recipe(lp.lead, feed.Middle); err == nil {
			out = append(out, Stock{Line: l.ID, Ratio: l.Injector.Ratio, Recipe: r})
		}
	}
	return out
}

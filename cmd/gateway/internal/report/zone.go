package report

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/control"
	"fabricpot/control/alarm"
	"fabricpot/control/garden"
	"fabricpot/control/task"
)

// zone reads one zone's season.
func (r *reader) zone(zp *control.ZonePlan, b *Book) (Zone, error) {
	z := Zone{
		ID: zp.ID, Name: zp.Name, HandTended: zp.HandTended, VolumeL: zp.VolumeL, AirSpace: zp.AirSpace,
		Capacity: float64(zp.Capacity), Refill: float64(zp.Refill), Limit: float64(zp.LowerLimit),
	}
	if z.Name == "" {
		z.Name = string(z.ID)
	}
	parts := int(r.to.Sub(r.from)/step) + 1
	points, err := r.s.ZoneSeries(z.ID, r.from, r.to.Add(-time.Millisecond), parts)
	if err != nil {
		return z, err
	}
	z.Points = points
	_, gz, _ := r.g.Zone(z.ID)
	share, line := 0.0, r.lineOf(zp.Line)
	if line != nil {
		share = line.ShareOf(z.ID)
	}
	pulses := r.pulses(&z, zp.Line, share)
	r.byHand(&z)
	r.fed(&z, gz)
	z.Water.RainL = b.RainMM
	z.Water.RainL.Value *= zp.AreaM2
	z.balance()
	z.stress()
	if line != nil {
		z.flow(line, pulses, share)
	}
	z.Water.ThirstyL = thirsty(r.from, r.to, z.Line, z.Hand)
	for _, p := range r.probes {
		for i := range gz.Probes {
			if gz.Probes[i].ID == p.Probe {
				z.Probes = append(z.Probes, p)
			}
		}
	}
	z.Refused = r.refused(z.ID)
	about := subjects(gz)
	z.Alarms = r.alarmsOf(func(s string) bool { return slices.Contains(about, s) })
	z.Did = r.deeds(z.ID)
	z.Advice = advise(&z)
	return z, nil
}

func (r *reader) lineOf(id garden.LineID) *garden.Line {
	if l, ok := r.g.Line(id); ok && id != "" {
		return l
	}
	return nil
}

// pulses takes in what the zone's line gave.
func (r *reader) pulses(z *Zone, line garden.LineID, share float64) []garden.PastDelivery {
	var out []garden.PastDelivery
	for _, d := range r.deliveries {
		if line == "" || d.Line != line || !garden.Finite(d.Litres) {
			continue
		}
		out = append(out, d)
		z.Line = append(z.Line, Amount{d.ClosedAt.Wall, d.Litres * share})
		z.Water.LineL += d.Litres * share
		z.Water.Pulses++
		if d.End == garden.AtDeadline {
			z.Flow.AtDeadline++
		}
	}
	z.Water.Waterings = len(groups(out))
	return out
}

// apart is the rest after which a pulse begins a new watering.
const apart = 3 * time.Hour

// groups joins pulses that make one watering.
func groups(pulses []garden.PastDelivery) [][]garden.PastDelivery {
	var out [][]garden.PastDelivery
	for i := range pulses {
		if i == 0 || pulses[i].OpenedAt.Wall.Sub(pulses[i-1].ClosedAt.Wall) > apart {
			out = append(out, nil)
		}
		out[len(out)-1] = append(out[len(out)-1], pulses[i])
	}
	return out
}

func (r *reader) byHand(z *Zone) {
	for _, a := range r.asks {
		if a.Kind == garden.GardenerWatered && a.Zone == z.ID && a.Litres > 0 {
			z.Hand = append(z.Hand, Amount{a.At.Wall, a.Litres})
			z.Water.HandL += a.Litres
		}
	}
}

// balance is what went in, what stayed, and so what left.
func (z *Zone) balance() {
	if len(z.Points) < 2 {
		return
	}
	first, last := z.Points[0], z.Points[len(z.Points)-1]
	w := &z.Water
	w.ChangeL = garden.Known((last.Mean - first.Mean) * z.VolumeL)
	w.GoneL = garden.Known(w.LineL + w.HandL + w.RainL.Or(0) - w.ChangeL.Value)
}

// overBy is how far over capacity counts: a soak that is still draining and a
// probe's own error lie below it.
const overBy = 0.01

// stress counts hours. A sample stands for the time to the next one, but not
// across a gap.
func (z *Zone) stress() {
	under := 0.0
	for i, p := range z.Points {
		h := step.Hours()
		if i+1 < len(z.Points) {
			h = math.Min(z.Points[i+1].At.Sub(p.At).Hours(), 1.5)
		}
		s := &z.Stress
		s.Known += h
		s.Least = garden.Known(math.Min(p.Mean, s.Least.Or(p.Mean)))
		if p.Refill.Known && p.Mean < p.Refill.Value {
			s.UnderRefill += h
			under += h
			s.LongestUnder = math.Max(s.LongestUnder, under)
		} else {
			under = 0
		}
		// An empty pot has no refill point, and no roots that could lack water.
		if p.Refill.Known && p.Mean < z.Limit {
			s.UnderLimit += h
		}
		if p.Mean > z.Capacity+overBy {
			s.OverCapacity += h
		}
	}
}

// thirsty is what was given on the thirstiest tenth of the days, L a day.
func thirsty(from, to time.Time, given ...[]Amount) float64 {
	var days []float64
	for d := from; d.Before(to); d = midnight(d, 1) {
		sum, next := 0.0, midnight(d, 1)
		for _, g := range given {
			// They are in order of time.
			i := sort.Search(len(g), func(i int) bool { return !g[i].At.Before(d) })
			for ; i < len(g) && g[i].At.Before(next); i++ {
				sum += g[i].Value
			}
		}
		days = append(days, sum)
	}
	if len(days) < 5 {
		return 0 // too short to speak of a season
	}
	slices.Sort(days)
	return days[(len(days)*9)/10]
}

func (r *reader) refused(id garden.ZoneID) []Count {
	n := map[string]int{}
	for _, d := range r.refusals {
		if d.Zone == id {
			n[d.Cause.String()]++
		}
	}
	out := make([]Count, 0, len(n))
	for what, times := range n {
		out = append(out, Count{what, times})
	}
	sort.Slice(out, func(i, j int) bool {
		if a, b := out[i].Times, out[j].Times; a != b {
			return a > b
		}
		return out[i].What < out[j].What
	})
	return out
}

// alarmsOf counts the alarms raised about certain subjects.
func (r *reader) alarmsOf(about func(string) bool) []AlarmCount {
	var out []AlarmCount
	for _, e := range r.alarms {
		if e.Event != alarm.Raised.String() || !about(e.Subject) {
			continue
		}
		at := e.At.Wall.In(r.from.Location())
		i := slices.IndexFunc(out, func(a AlarmCount) bool { return a.Name == e.Kind && a.About == e.Subject })
		if i < 0 {
			i = len(out)
			out = append(out, AlarmCount{Name: e.Kind, About: e.Subject, First: at})
		}
		out[i].Times++
		out[i].Last, out[i].Text = at, e.Text
	}
	return out
}

// deeds are what a person did to a zone or saw of it, oldest first.
func (r *reader) deeds(id garden.ZoneID) []Deed {
	var out []Deed
	zone := r.from.Location()
	add := func(at time.Time, format string, args ...any) {
		out = append(out, Deed{at.In(zone), strings.TrimSpace(fmt.Sprintf(format, args...))})
	}
	for _, a := range r.asks {
		if a.Zone != id && a.Zone != "" {
			continue
		}
		switch a.Kind {
		case garden.GardenerWatered:
			add(a.At.Wall, "watered by hand: %.1f L", a.Litres)
		case garden.AskWater:
			add(a.At.Wall, "asked for %.1f L", a.Litres)
		case garden.AskShut:
			add(a.At.Wall, "kept it shut")
		case garden.AskRelease:
			add(a.At.Wall, "opened it again")
		case garden.AskAutoOff:
			add(a.At.Wall, "turned automatic control off")
		case garden.AskAutoOn:
			add(a.At.Wall, "turned automatic control on")
		}
	}
	for _, n := range r.notes {
		if n.Zone == id && !strings.HasPrefix(n.Kind, journal.EyesKind) {
			add(n.At.Wall, "noted: %s", noteWords(n))
		}
	}
	for i := range r.plants {
		if e := &r.plants[i]; e.Zone == id {
			add(e.On, "%s", e.String())
		}
	}
	for _, e := range r.tasks {
		if e.Task.Zone != id {
			continue
		}
		switch e.Kind {
		case task.Done:
			litres := ""
			if e.Litres.Known {
				litres = fmt.Sprintf(", %.1f L", e.Litres.Value)
			}
			add(e.At, "did: %s%s", title(e), litres)
		case task.Dropped:
			add(e.At, "left undone: %s %s", title(e), e.Note)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].At.Before(out[j].At) })
	return out
}

func title(e taskEvent) string {
	if e.opened.Title != "" {
		return e.opened.Title
	}
	return string(e.Task.Kind)
}

func noteWords(n journal.Note) string {
	words := strings.ReplaceAll(n.Kind, "-", " ")
	if n.Value.Known {
		words += fmt.Sprintf(" %.4g", n.Value.Value)
	}
	if n.Text != "" {
		words += " – " + n.Text
	}
	return words
}

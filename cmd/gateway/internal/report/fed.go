package report

import (
	"math"
	"slices"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/control/garden"
	"fabricpot/control/task"
)

// taskEvent is a line of the gardener's book with the task as it was opened.
type taskEvent struct {
	task.Event
	opened task.Task
}

func (r *reader) taskEvents() ([]taskEvent, error) {
	all, err := r.s.TaskEvents(r.from, r.from.Location())
	opened := map[string]task.Task{}
	var out []taskEvent
	for _, e := range all {
		if e.Kind == task.Opened || e.Kind == task.Changed {
			opened[e.Task.ID] = e.Task
		}
		if r.in(e.At) {
			out = append(out, taskEvent{e, opened[e.Task.ID]})
		}
	}
	return out, err
}

// fed takes in what the zone was fed, and how late.
func (r *reader) fed(z *Zone, gz *garden.Zone) {
	f := &z.Feed
	f.Planned, f.Interval = gz.Feed.Fed(), gz.Feed.IntervalDays
	for _, e := range r.feeds {
		if e.Zone != z.ID {
			continue
		}
		z.Fed = append(z.Fed, Amount{e.At.Wall, e.Litres})
		f.Litres += e.Litres
		f.NG, f.PG, f.KG = f.NG+e.NG.Or(0), f.PG+e.PG.Or(0), f.KG+e.KG.Or(0)
	}
	gaps := feedGaps(z.Fed)
	f.Times = len(gaps) + min(1, len(z.Fed))
	if len(gaps) > 0 {
		slices.Sort(gaps)
		f.Usual, f.Longest = garden.Known(gaps[len(gaps)/2]), garden.Known(gaps[len(gaps)-1])
	}
	late := 0.0
	for _, e := range r.tasks {
		if e.Task.Zone != z.ID || e.Task.Kind != task.Feed || e.Kind != task.Done || e.opened.Due.IsZero() {
			continue
		}
		if by := e.At.Sub(e.opened.Due); by > 24*time.Hour {
			f.Late++
			late += by.Hours() / 24
		}
	}
	if f.Late > 0 {
		f.LateDays = late / float64(f.Late)
	}
}

// feedGaps are the days between feeds; doses of one feed lie within hours.
func feedGaps(fed []Amount) []float64 {
	var out []float64
	for i := 1; i < len(fed); i++ {
		if gap := fed[i].At.Sub(fed[i-1].At).Hours() / 24; gap > 0.75 {
			out = append(out, gap)
		}
	}
	return out
}

// flow looks at the emitters: metered against nominal litres, and how much of
// what was given showed in the pot. A watering that would have filled the pot
// tells nothing, since what is over drains.
func (z *Zone) flow(line *garden.Line, pulses []garden.PastDelivery, share float64) {
	var metered, nominal float64
	for _, d := range pulses {
		if d.Metered && d.Open > 0 {
			metered += d.Litres
			nominal += line.FlowLPH() * d.Open.Hours()
		}
	}
	if nominal > 0 {
		z.Flow.Metered = garden.Known(metered / nominal)
	}
	var arrived []float64
	for _, g := range groups(pulses) {
		litres := 0.0
		for _, d := range g {
			litres += d.Litres * share
		}
		before, ok := z.at(g[0].OpenedAt.Wall, -time.Hour)
		expect := litres / z.VolumeL
		if !ok || expect < 0.02 || before+expect > z.Capacity-0.01 {
			continue
		}
		if after, ok := z.most(g[len(g)-1].ClosedAt.Wall, 4*time.Hour); ok {
			arrived = append(arrived, math.Max(0, after-before)/expect)
		}
	}
	z.Flow.Checked = len(arrived)
	if len(arrived) > 0 {
		slices.Sort(arrived)
		z.Flow.Arrived = garden.Known(arrived[len(arrived)/2])
	}
}

// at is the last known mean in the span that ends at t.
func (z *Zone) at(t time.Time, back time.Duration) (float64, bool) {
	i, _ := slices.BinarySearchFunc(z.Points, t, byTime)
	if i == 0 || z.Points[i-1].At.Before(t.Add(back)) {
		return 0, false
	}
	return z.Points[i-1].Mean, true
}

// most is the largest mean in the span that begins at t.
func (z *Zone) most(t time.Time, span time.Duration) (float64, bool) {
	i, _ := slices.BinarySearchFunc(z.Points, t, byTime)
	best, ok := 0.0, false
	for ; i < len(z.Points) && !z.Points[i].At.After(t.Add(span)); i++ {
		best, ok = math.Max(best, z.Points[i].Mean), true
	}
	return best, ok
}

func byTime(p journal.Point, t time.Time) int { return p.At.Compare(t) }

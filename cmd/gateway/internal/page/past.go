package page

import (
	"math"
	"net/http"
	"strings"
	"sync"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
)

// window is one of the spans of time a pot is shown over.
type window struct {
	Key, Words, Long string
	back             time.Duration
	points           int
	ahead            time.Duration
	layout, label    string
	// keep is how long a past that was read is shown again: reading a season
	// takes a small board a while.
	keep time.Duration
}

func windows() []window {
	const day = 24 * time.Hour
	return []window{
		{"day", tDay, "day", day, 96, 6 * time.Hour, "15:04", "15:04", time.Minute},
		{"week", tWeek, "week", 7 * day, 84, 36 * time.Hour, "Mon 2 Jan 15:04", "Mon 2", 5 * time.Minute},
		{"season", tSeason, "season", 200 * day, 200, 0, "2 Jan", "2 Jan", 30 * time.Minute},
	}
}

func windowOf(r *http.Request) (window, bool) {
	key := r.URL.Query().Get("span")
	all := windows()
	if key == "" {
		return all[0], true
	}
	for _, w := range all {
		if w.Key == key {
			return w, true
		}
	}
	return all[0], false
}

// past is what a zone went through over a window.
type past struct {
	From, To, Until time.Time
	Points          []journal.Point
	Capacity        float64
	// Given are the litres that reached the zone, by equal parts of the window.
	Given []float64
	// Rain is mm by the same parts.
	Rain []float64
	Fed  []time.Time
	// Ahead is the expected course until the refill point, as two ends; its
	// last point may lie beyond Until.
	Ahead []journal.Point
}

// fineDays is how long a season may be to be drawn finer than by days.
const fineDays = 60

// bars is how many parts the litres given are added up in.
const bars = 28

// pasts keeps what was read, one entry for each zone and window.
type pasts struct {
	mu sync.Mutex
	of map[pastKey]*keptPast
}

type pastKey struct {
	zone   garden.ZoneID
	window string
}

type keptPast struct {
	mu   sync.Mutex // readers of one past wait for one reading of it
	data past
	read bool
	last time.Time
}

func (c *pasts) entry(k pastKey) *keptPast {
	c.mu.Lock()
	defer c.mu.Unlock()
	e, ok := c.of[k]
	if !ok {
		e = &keptPast{}
		c.of[k] = e
	}
	return e
}

// readPast is a zone's past up to the present. What it returns must not be
// changed: it may be kept.
func (p *Page) readPast(ref zoneRef, zs *runner.ZoneStatus, st *runner.Status, win window) (past, error) {
	e := p.pasts.entry(pastKey{ref.zone.ID, win.Key})
	e.mu.Lock()
	defer e.mu.Unlock()
	var last time.Time
	if zs.LastAt != nil {
		last = *zs.LastAt
	}
	age := st.At.Sub(e.data.To)
	if !e.read || age < 0 || age > win.keep || !last.Equal(e.last) {
		data, err := p.queryPast(ref, st, win)
		if err != nil {
			return past{}, err
		}
		e.data, e.read, e.last = data, true, last
	}
	out := e.data
	out.present(zs, st, win)
	return out, nil
}

// present adds where the zone stands now, and where it is expected to go.
func (p *past) present(zs *runner.ZoneStatus, st *runner.Status, win window) {
	p.Capacity = zs.Capacity
	p.To = st.At
	p.Until = p.To.Add(min(win.ahead, p.To.Sub(p.From)/4))
	if zs.Water == nil {
		return
	}
	w := *zs.Water
	// The slice is capped, so that the append copies and the kept one stays.
	p.Points = append(p.Points[:len(p.Points):len(p.Points)],
		journal.Point{At: st.At, Mean: w, Min: w, Max: w, SD: garden.Known(zs.SD), Refill: garden.Known(zs.RefillPoint), N: 1})
	if win.ahead > 0 && zs.HoursLeft != nil && *zs.HoursLeft > 0 && *zs.HoursLeft < longHours {
		p.Ahead = []journal.Point{
			{At: st.At, Mean: w},
			{At: st.At.Add(time.Duration(*zs.HoursLeft * float64(time.Hour))), Mean: zs.RefillPoint},
		}
	}
}

// queryPast reads a zone's past from the journal.
func (p *Page) queryPast(ref zoneRef, st *runner.Status, win window) (past, error) {
	out := past{To: st.At, From: st.At.Add(-win.back)}
	h := p.o.History
	points, err := h.ZoneCourse(ref.zone.ID, out.From, out.To, win.points)
	if err != nil {
		return out, err
	}
	if len(points) > 1 {
		// A season that began last week is shown as that week, drawn finer; one
		// of months is drawn by days, which are read in no time.
		if first := points[0].At; first.Sub(out.From) > win.back/4 {
			out.From = first
			if days := int(out.To.Sub(first) / (24 * time.Hour)); days <= fineDays || days > win.points {
				if points, err = h.ZoneCourse(ref.zone.ID, out.From, out.To, win.points); err != nil {
					return out, err
				}
			}
		}
	}
	out.Points = points
	if ref.line != nil {
		given, err := h.Given(ref.line.ID, out.From, out.To, bars)
		if err != nil {
			return out, err
		}
		share := ref.line.ShareOf(ref.zone.ID)
		for _, g := range given {
			out.give(g.At, g.Litres*share)
		}
	}
	poured, err := h.GivenByHand(ref.zone.ID, out.From, out.To, bars)
	if err != nil {
		return out, err
	}
	for _, g := range poured {
		out.give(g.At, g.Litres)
	}
	rain, err := h.Rain(out.From, out.To, bars)
	if err != nil {
		return out, err
	}
	out.rained(rain)
	feeds, err := h.Feeds(ref.zone.ID, out.From)
	if err != nil {
		return out, err
	}
	for _, f := range feeds {
		if !f.At.Wall.After(out.To) {
			out.Fed = append(out.Fed, f.At.Wall)
		}
	}
	return out, nil
}

func (p *past) give(at time.Time, litres float64) {
	whole := p.To.Sub(p.From)
	since := at.Sub(p.From)
	if since < 0 || since > whole || whole <= 0 || !garden.Finite(litres) || litres <= 0 {
		return
	}
	if p.Given == nil {
		p.Given = make([]float64, bars)
	}
	p.Given[min(bars-1, int(float64(bars)*float64(since)/float64(whole)))] += litres
}

func (p *past) rained(spans []journal.RainSpan) {
	whole := p.To.Sub(p.From)
	for _, s := range spans {
		since := s.At.Sub(p.From)
		if since < 0 || whole <= 0 || since > whole || !garden.Finite(s.MM) {
			continue
		}
		if p.Rain == nil {
			p.Rain = make([]float64, bars)
		}
		p.Rain[min(bars-1, int(float64(bars)*float64(since)/float64(whole)))] += s.MM
	}
}

// row is one line of the table beside a chart.
type row struct {
	Time, Water, Range, Sure, Refill, Given, Rain, Fed string
	// Share is where along the chart the row stands, 0..1.
	Share string
}

// rows writes the past as a table of at most bars lines.
func (p *past) rows(win window, v *visit, zone *time.Location) []row {
	out := make([]row, bars)
	part := p.To.Sub(p.From) / bars
	full := p.Until.Sub(p.From)
	layout := win.layout
	if p.To.Sub(p.From) < bars*24*time.Hour && !strings.Contains(layout, "15") {
		layout += " 15:04"
	}
	if part <= 0 {
		return nil
	}
	type sum struct {
		mean, lo, hi, refill, sd float64
		n, nr, ns                int
	}
	sums := make([]sum, bars)
	for _, pt := range p.Points {
		i := min(bars-1, max(0, int(pt.At.Sub(p.From)/part)))
		s := &sums[i]
		if s.n == 0 {
			s.lo, s.hi = pt.Min, pt.Max
		}
		s.mean += pt.Mean * float64(pt.N)
		s.n += pt.N
		s.lo, s.hi = min(s.lo, pt.Min), max(s.hi, pt.Max)
		if pt.Refill.Known {
			s.refill += pt.Refill.Value
			s.nr++
		}
		if pt.SD.Known {
			s.sd += pt.SD.Value
			s.ns++
		}
	}
	for i := range out {
		begin := p.From.Add(time.Duration(i) * part)
		r := &out[i]
		r.Time = begin.In(zone).Format(layout)
		r.Share = sprintf("%.4f", float64(begin.Add(part/2).Sub(p.From))/float64(full))
		r.Water, r.Range, r.Sure, r.Refill, r.Given, r.Rain = "–", "–", "–", "–", "–", "–"
		if s := sums[i]; s.n > 0 {
			r.Water = percent(s.mean / float64(s.n))
			r.Range = percent(s.lo) + " – " + percent(s.hi)
			if s.nr > 0 {
				r.Refill = percent(s.refill / float64(s.nr))
			}
			if s.ns > 0 {
				r.Sure = "±" + apart + percent(2*s.sd/float64(s.ns))
			}
		}
		if p.Given != nil && p.Given[i] > 0 {
			r.Given = v.volume(p.Given[i])
		}
		if p.Rain != nil && p.Rain[i] > 0 {
			r.Rain = sprintf("%.*f"+apart+"mm", digitsFor(p.Rain[i]), p.Rain[i])
		}
		for _, at := range p.Fed {
			if !at.Before(begin) && at.Before(begin.Add(part)) {
				r.Fed = tFed
			}
		}
	}
	return out
}

func percent(v float64) string {
	if !garden.Finite(v) {
		return "–"
	}
	return sprintf("%.1f"+apart+"%%", 100*math.Round(v*1000)/1000)
}

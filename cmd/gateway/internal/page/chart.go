package page

import (
	"math"
	"net/http"
	"slices"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/picture"
	"fabricpot/cmd/gateway/internal/units"
)

// ink is what a chart is drawn with.
type ink struct {
	paper, body, text, rule, water, band, doubt, refill, ahead, bar, rain, feed picture.Color
}

func inkFor(dark bool) ink {
	if dark {
		return ink{
			paper: picture.Hex("#1a1612"), body: picture.Hex("#20343a"), text: picture.Hex("#e9dfcd"), rule: picture.Hex("#4a4238"),
			water: picture.Hex("#8cc6d6"), band: picture.Hex("#45717c"), doubt: picture.Hex("#30515a"), refill: picture.Hex("#f0a878"),
			ahead: picture.Hex("#8cc6d6"), bar: picture.Hex("#5d93a5"), rain: picture.Hex("#c3b89f"), feed: picture.Hex("#d9b8e8"),
		}
	}
	return ink{
		paper: picture.Hex("#fbf7ec"), body: picture.Hex("#dfe9e4"), text: picture.Hex("#2a241c"), rule: picture.Hex("#d9cfba"),
		water: picture.Hex("#17505f"), band: picture.Hex("#9fc3c8"), doubt: picture.Hex("#c6dbd9"), refill: picture.Hex("#9a3d12"),
		ahead: picture.Hex("#17505f"), bar: picture.Hex("#3f7f90"), rain: picture.Hex("#6f6450"), feed: picture.Hex("#6b2f7d"),
	}
}

// canvas is the size of a chart: one for a hand, one for a desk.
type canvas struct{ w, h int }

func (p *Page) chart(w http.ResponseWriter, r *http.Request, v *visit) {
	st, ref, ok := p.find(w, r, v)
	if !ok {
		return
	}
	q := r.URL.Query()
	win, known := windowOf(r)
	size := canvas{760, 330}
	if q.Get("size") == "hand" {
		size = canvas{350, 300}
	}
	if zs := zoneStatus(st, ref.zone.ID); known && zs != nil && p.o.History != nil {
		data, err := p.readPast(ref, zs, st, win)
		if err == nil {
			w.Header().Set("Content-Type", "image/svg+xml")
			// A picture has inline styles; as an image they harm nobody.
			w.Header().Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'; sandbox")
			_, _ = w.Write(drawPast(data, win, size, inkFor(q.Get("ink") == "dark"), v.prefs, p.o.Garden.Site.Zone)) // the reader may be gone
			return
		}
	}
	http.Error(w, tNoPast, http.StatusNotFound)
}

// plot maps times and values to the canvas.
type plot struct {
	left, right, top, bottom int
	from, until              time.Time
	lo, hi                   float64
}

func (a plot) x(t time.Time) int {
	s := float64(t.Sub(a.from)) / float64(max(a.until.Sub(a.from), 1))
	return a.left + int(math.Round(clamp(s, 0, 1)*float64(a.right-a.left)))
}

func (a plot) y(v float64) int {
	s := (v - a.lo) / max(a.hi-a.lo, 1e-9)
	return a.bottom - int(math.Round(clamp(s, 0, 1)*float64(a.bottom-a.top)))
}

// drawPast draws the water with its band, the refill point, what was given and
// fed, and what is expected. The axes are ours, so that it looks like the rest
// of the page and not like every other chart.
func drawPast(d past, win window, size canvas, k ink, pr prefs, zone *time.Location) []byte {
	c := picture.New(size.w, size.h)
	c.Rect(0, 0, size.w, size.h, k.paper)
	text := picture.Style{Size: 12, Color: k.text}
	a := plot{left: 52, right: size.w - 12, top: 14, bottom: size.h - 100, from: d.From, until: d.Until}
	a.lo, a.hi = d.bounds()
	step := 0.05
	for (a.hi-a.lo)/step > 6 {
		step *= 2
	}
	for v := math.Ceil(a.lo/step) * step; v <= a.hi+1e-9; v += step {
		y := a.y(v)
		c.Line([]picture.Point{{X: a.left, Y: y}, {X: a.right, Y: y}}, k.rule, 1)
		c.Text(sprintf("%.0f %%", 100*v), 6, y+4, text)
	}
	b := plot{left: a.left, right: a.right, top: size.h - 84, bottom: size.h - 26, from: d.From, until: d.Until}
	drawTimes(c, d, win, a, b, k, text, zone)
	drawGiven(c, d, b, k, text, pr)
	drawWater(c, d, a, k)
	return c.Bytes()
}

// ticks are the times that are written under a chart: whole hours of a day,
// midnights of a longer span, as many as there is room for.
func ticks(from, until time.Time, most, leastHours int, zone *time.Location) []time.Time {
	from, until = from.In(zone), until.In(zone)
	var out []time.Time
	for _, step := range []int{1, 2, 3, 6, 12, 24, 48, 3 * 24, 5 * 24, 7 * 24, 14 * 24, 30 * 24, 60 * 24} {
		if step < leastHours {
			continue
		}
		out = out[:0]
		y, m, d := from.Date()
		for k := 0; k < 2000; k++ {
			t := time.Date(y, m, d, k*step, 0, 0, 0, zone)
			if t.After(until) {
				break
			}
			if !t.Before(from) {
				out = append(out, t)
			}
		}
		if len(out) <= most {
			return out
		}
	}
	return out[:most]
}

func drawTimes(c *picture.Painter, d past, win window, a, b plot, k ink, text picture.Style, zone *time.Location) {
	label, least := win.label, 24
	if d.Until.Sub(d.From) < 48*time.Hour {
		label, least = "15:04", 1
	}
	// A browser's letters may be wider than the measured ones, and a blank is between them.
	room := func(words string) int { return picture.Width(words, text)*5/4 + picture.Width("0", text) }
	most := min(max((a.right-a.left)/room(time.Date(2000, 9, 27, 20, 0, 0, 0, time.UTC).Format(label)), 1), 9)
	free := 0 // from where on nothing is written
	for _, t := range ticks(d.From, d.Until, most, least, zone) {
		x := a.x(t)
		c.Line([]picture.Point{{X: x, Y: b.bottom}, {X: x, Y: b.bottom + 4}}, k.text, 1)
		words := t.Format(label)
		wide := picture.Width(words, text)
		left := min(max(x-wide/2, 0), b.right+6-wide*5/4)
		if left < free {
			continue
		}
		c.Text(words, left, b.bottom+18, text)
		free = left + room(words)
	}
	c.Line([]picture.Point{{X: b.left, Y: b.bottom}, {X: b.right, Y: b.bottom}}, k.text, 1)
	if d.Until.After(d.To) {
		x := a.x(d.To)
		c.Dashed([]picture.Point{{X: x, Y: a.top}, {X: x, Y: b.bottom}}, k.text, 1, []float64{1, 3})
	}
}

func drawGiven(c *picture.Painter, d past, b plot, k ink, text picture.Style, pr prefs) {
	most := 0.0
	for _, g := range d.Given {
		most = max(most, g)
	}
	if most > 0 {
		b.lo, b.hi = 0, most*1.1
		shown, _ := units.Volume().In(most, pr.volumeUnit())
		c.Text(sprintf("%.*f %s", digitsFor(shown), shown, pr.volumeUnit()), 6, max(b.y(most)+4, b.top+28), text)
		part := d.To.Sub(d.From) / bars
		for i, g := range d.Given {
			if g <= 0 {
				continue
			}
			t := d.From.Add(time.Duration(i) * part)
			c.Rect(b.x(t)+1, b.y(g), max(b.x(t.Add(part))-1, b.x(t)+3), b.bottom, k.bar)
		}
	}
	drawRain(c, d, b, k, text)
	for _, t := range d.Fed {
		c.Diamond(b.x(t), b.top-4, 11, 13, k.feed)
	}
}

// drawRain hangs the rain from the top of the panel whose bars stand: the two
// are in different units and are not to be compared by length.
func drawRain(c *picture.Painter, d past, b plot, k ink, text picture.Style) {
	most := 0.0
	for _, mm := range d.Rain {
		most = max(most, mm)
	}
	if most <= 0 {
		return
	}
	const share = 0.55 // of the panel, for the wettest part
	deep := share * float64(b.bottom-b.top) / most
	part := d.To.Sub(d.From) / bars
	for i, mm := range d.Rain {
		if mm <= 0 {
			continue
		}
		t := d.From.Add(time.Duration(i) * part)
		mid := (b.x(t) + b.x(t.Add(part))) / 2
		c.Rect(mid-2, b.top, mid+2, b.top+max(1, int(math.Round(mm*deep))), k.rain)
	}
	c.Line([]picture.Point{{X: b.left, Y: b.top}, {X: b.right, Y: b.top}}, k.rain, 1)
	words := sprintf("%.*f mm", digitsFor(most), most)
	c.Text(words, 6, b.top+10, text)
}

func digitsFor(v float64) int {
	if v < 10 {
		return 1
	}
	return 0
}

func drawWater(c *picture.Painter, d past, a plot, k ink) {
	if len(d.Points) == 0 {
		return
	}
	// Gaps of more than a few parts are left open: nothing is known there.
	gap := max(4*d.To.Sub(d.From)/time.Duration(max(len(d.Points), 24)), 10*time.Minute)
	for start := 0; start < len(d.Points); {
		end := start + 1
		for end < len(d.Points) && d.Points[end].At.Sub(d.Points[end-1].At) <= gap {
			end++
		}
		run := d.Points[start:end]
		start = end
		band := make([]picture.Point, 0, 2*len(run)+1)
		line := make([]picture.Point, 0, len(run))
		for _, p := range run {
			band = append(band, picture.Point{X: a.x(p.At), Y: a.y(p.Max)})
			line = append(line, picture.Point{X: a.x(p.At), Y: a.y(p.Mean)})
		}
		for i := len(run) - 1; i >= 0; i-- {
			band = append(band, picture.Point{X: a.x(run[i].At), Y: a.y(run[i].Min)})
		}
		if len(run) > 1 {
			body := append([]picture.Point{{X: line[0].X, Y: a.bottom}}, line...)
			body = append(body, picture.Point{X: line[len(line)-1].X, Y: a.bottom}, picture.Point{X: line[0].X, Y: a.bottom})
			c.Area(body, k.body)
			if doubt := doubtOf(run, a); len(doubt) > 0 {
				c.Area(doubt, k.doubt)
			}
			c.Area(append(band, band[0]), k.band)
		}
		c.Line(line, k.water, 2.5)
	}
	var refill []picture.Point
	for _, p := range d.Points {
		if p.Refill.Known {
			refill = append(refill, picture.Point{X: a.x(p.At), Y: a.y(p.Refill.Value)})
		}
	}
	if len(refill) > 0 {
		refill = append(refill, picture.Point{X: a.right, Y: refill[len(refill)-1].Y})
		c.Dashed(refill, k.refill, 2, []float64{7, 4})
	}
	if d.Capacity > 0 {
		y := a.y(d.Capacity)
		c.Line([]picture.Point{{X: a.left, Y: y}, {X: a.right, Y: y}}, k.text, 1)
	}
	if len(d.Ahead) == 2 {
		p0, p1 := d.Ahead[0], d.Ahead[1]
		if p1.At.After(d.Until) { // cut at the edge, on the line between
			s := float64(d.Until.Sub(p0.At)) / float64(p1.At.Sub(p0.At))
			p1.At, p1.Mean = d.Until, p0.Mean+s*(p1.Mean-p0.Mean)
		}
		c.Dashed([]picture.Point{{X: a.x(p0.At), Y: a.y(p0.Mean)}, {X: a.x(p1.At), Y: a.y(p1.Mean)}}, k.ahead, 2, []float64{2, 4})
	}
}

// doubtOf is the outline of two standard deviations of the estimate on either
// side of its mean, none where any point of the run does not know its own.
func doubtOf(run []journal.Point, a plot) []picture.Point {
	upper := make([]picture.Point, 0, 2*len(run)+1)
	lower := make([]picture.Point, 0, len(run))
	for _, p := range run {
		if !p.SD.Known {
			return nil
		}
		upper = append(upper, picture.Point{X: a.x(p.At), Y: a.y(p.Mean + 2*p.SD.Value)})
		lower = append(lower, picture.Point{X: a.x(p.At), Y: a.y(p.Mean - 2*p.SD.Value)})
	}
	slices.Reverse(lower)
	return append(append(upper, lower...), upper[0])
}

// bounds are the least and most water fractions that the chart shows.
func (p *past) bounds() (lo, hi float64) {
	lo, hi = 1, 0
	see := func(v float64) {
		if v > 0 && v <= 1 {
			lo, hi = min(lo, v), max(hi, v)
		}
	}
	for _, pt := range p.Points {
		see(pt.Min)
		see(pt.Max)
		if pt.SD.Known {
			see(pt.Mean - 2*pt.SD.Value)
			see(pt.Mean + 2*pt.SD.Value)
		}
		if pt.Refill.Known {
			see(pt.Refill.Value)
		}
	}
	see(p.Capacity)
	if hi <= lo {
		return 0, 1
	}
	return max(0, math.Floor(20*(lo-0.01))/20), min(1, math.Ceil(20*(hi+0.005))/20)
}

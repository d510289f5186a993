package page

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"net/http"
	"time"

	"github.com/a-h/templ"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/report"
	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control/garden"
)

// reportModel is a season's report, ready to be drawn.
type reportModel struct {
	Title, Span, Weather, Source string
	Simulated                    bool
	Style, Policy                string
	Pots                         []reportPot
	Whole                        []pair
	Strangers                    string
}

// reportPot is one pot's season in words and figures.
type reportPot struct {
	ID, Name                    string
	Picture                     string // HTML
	Line, Hand, Fed, Dry, Worry string // its line of the overview
	Figures, True, Probes       []pair
	Alarms, Did                 []pair
	Advice                      []report.Advice
	Rows                        []row
}

// WriteReport writes a season as one HTML file that needs nothing else: style
// and pictures are inside, and its own policy keeps everything else out.
// source says where the figures come from.
func WriteReport(ctx context.Context, w io.Writer, b *report.Book, source string, as units.Reads) error {
	return writeReport(ctx, w, b, source, prefs{gallons: as.Gallons, fahrenheit: as.Fahrenheit})
}

func writeReport(ctx context.Context, w io.Writer, b *report.Book, source string, pr prefs) error {
	style, policy, err := reportStyle()
	if err != nil {
		return err
	}
	m := reportModel{
		Title: sprintf(tReportOf, b.Site), Source: source, Simulated: b.Simulated, Style: style, Policy: policy,
		Span: sprintf(tReportSpan, b.From.Format("2 January 2006"), b.To.AddDate(0, 0, -1).Format("2 January 2006"), days(b.From, b.To)),
	}
	if b.RainMM.Known {
		m.Weather = sprintf(tReportRain, b.RainMM.Value, b.RainDays)
	} else {
		m.Weather = tReportNoRain
	}
	if b.ColdestC.Known {
		m.Weather += " " + sprintf(tReportAir, pr.temp(b.ColdestC.Value), pr.temp(b.HottestC.Value))
	}
	for _, a := range b.Whole {
		m.Whole = append(m.Whole, alarmPair(a))
	}
	for i, id := range b.Strangers {
		if i > 0 {
			m.Strangers += ", "
		}
		m.Strangers += string(id)
	}
	for i := range b.Zones {
		p, err := reportPotOf(b, &b.Zones[i], pr)
		if err != nil {
			return err
		}
		m.Pots = append(m.Pots, p)
	}
	var buf bytes.Buffer
	if err := reportPage(m).Render(ctx, &buf); err != nil {
		return fmt.Errorf("report: %w", err)
	}
	_, err = buf.WriteTo(w)
	return err
}

// reportStyle is the page's own style and the policy that lets it in.
func reportStyle() (style, policy string, err error) {
	css, err := assets.ReadFile("assets/page.css")
	if err != nil {
		return "", "", err
	}
	more, err := assets.ReadFile("assets/report.css")
	if err != nil {
		return "", "", err
	}
	style = string(css) + string(more)
	sum := sha256.Sum256([]byte(style))
	policy = "default-src 'none'; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'; img-src data:; base-uri 'none'; form-action 'none'"
	return style, policy, nil
}

func days(from, to time.Time) int { return int(to.Sub(from).Round(24*time.Hour) / (24 * time.Hour)) }

func reportPotOf(b *report.Book, z *report.Zone, pr prefs) (reportPot, error) {
	p := reportPot{ID: string(z.ID), Name: z.Name}
	for _, a := range z.Advice {
		p.Advice = append(p.Advice, report.Advice{Change: pr.words(a.Change), Figure: pr.words(a.Figure)})
	}
	d := pastOf(b, z)
	win := window{layout: "2 Jan", label: "2 Jan"}
	zone := b.From.Location()
	var ink [2]string
	for i := range ink {
		svg := drawPast(d, win, canvas{760, 330}, inkFor(i == 1), pr, zone)
		ink[i] = "data:image/svg+xml;base64," + base64.StdEncoding.EncodeToString(svg)
	}
	// The template language takes no data for an address; these are ours.
	p.Picture = `<picture><source media="(prefers-color-scheme: dark)" srcset="` + ink[1] + `"><img src="` + ink[0] +
		`" width="760" height="330" alt="` + templ.EscapeString(sprintf(tReportAlt, z.Name)) + `"></picture>`
	p.Rows = d.rows(win, &visit{prefs: pr}, zone)
	p.Figures = seasonFigures(z, pr)
	p.True = trueFigures(z, pr)
	for _, h := range z.Probes {
		n := float64(max(h.Good+h.Uncertain+h.Bad, 1))
		words := sprintf(tReportProbe, percent(float64(h.Good)/n), int(n), percent(float64(h.Uncertain)/n), percent(float64(h.Bad)/n))
		p.Probes = append(p.Probes, pair{string(h.Probe), words})
	}
	for _, a := range z.Alarms {
		p.Alarms = append(p.Alarms, alarmPair(a))
	}
	for _, e := range z.Did {
		p.Did = append(p.Did, pair{e.At.Format("Mon 2 Jan 15:04"), capital(pr.words(e.Words))})
	}
	p.Line, p.Hand, p.Fed = "–", "–", "–"
	if z.Water.Pulses > 0 {
		p.Line = pr.volume(z.Water.LineL)
	}
	if z.Water.HandL > 0 {
		p.Hand = pr.volume(z.Water.HandL)
	}
	if z.Feed.Times > 0 {
		p.Fed = sprintf(tReportN, times(z.Feed.Times), z.Feed.NG)
	}
	p.Dry = percent(z.Stress.Share(z.Stress.UnderRefill))
	p.Worry = sprintf("%d", len(z.Alarms))
	return p, nil
}

// pastOf is the whole season as a chart draws it.
func pastOf(b *report.Book, z *report.Zone) past {
	d := past{From: b.From, To: b.To, Until: b.To, Capacity: z.Capacity}
	if n := len(z.Points); n > 0 {
		// A journal that began in the middle of the span is drawn from there.
		d.From = maxTime(b.From, z.Points[0].At)
		d.To = minTime(b.To, z.Points[n-1].At.Add(time.Hour))
		d.Until = d.To
	}
	d.Points = coarser(z.Points, 240)
	for _, list := range [][]report.Amount{z.Line, z.Hand} {
		for _, a := range list {
			d.give(a.At, a.Value)
		}
	}
	for _, a := range z.Fed {
		d.Fed = append(d.Fed, a.At)
	}
	spans := make([]journal.RainSpan, 0, len(b.Rain))
	for _, a := range b.Rain {
		spans = append(spans, journal.RainSpan{At: a.At, MM: a.Value})
	}
	d.rained(spans)
	return d
}

func maxTime(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

func minTime(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

// coarser joins points until at most that many are left.
func coarser(points []journal.Point, most int) []journal.Point {
	each := (len(points) + most - 1) / most
	if each <= 1 {
		return points
	}
	var out []journal.Point
	for ; len(points) > 0; points = points[min(each, len(points)):] {
		part := points[:min(each, len(points))]
		p := journal.Point{At: part[0].At, Min: part[0].Min, Max: part[0].Max}
		var mean, sd, refill, sds, refills float64
		for _, q := range part {
			mean += q.Mean * float64(q.N)
			p.N += q.N
			p.Min, p.Max = min(p.Min, q.Min), max(p.Max, q.Max)
			if q.SD.Known {
				sd, sds = sd+q.SD.Value, sds+1
			}
			if q.Refill.Known {
				refill, refills = refill+q.Refill.Value, refills+1
			}
		}
		p.Mean = mean / float64(max(p.N, 1))
		if sds > 0 {
			p.SD = garden.Known(sd / sds)
		}
		if refills > 0 {
			p.Refill = garden.Known(refill / refills)
		}
		out = append(out, p)
	}
	return out
}

// season shows the season so far as the one file that it is.
func (p *Page) season(w http.ResponseWriter, r *http.Request, v *visit) {
	st, ok := p.status(w, r, v)
	if !ok {
		return
	}
	if p.o.Season == nil {
		p.refuse(w, r, v, fault{http.StatusNotFound, tErrNoPage, tNoJournal, "/health", tHealth})
		return
	}
	// Reading a season keeps a small board busy for seconds.
	select {
	case p.reading <- struct{}{}:
		defer func() { <-p.reading }()
	case <-r.Context().Done():
		return
	}
	b, err := p.o.Season(st.At)
	if errors.Is(err, report.ErrNothing) {
		p.refuse(w, r, v, fault{http.StatusNotFound, tReportOpen, tNoPast, "/health", tHealth})
		return
	} else if err != nil {
		p.failed(w, r, v, err, "/health")
		return
	}
	var buf bytes.Buffer
	if err := writeReport(r.Context(), &buf, b, tReportServed, v.prefs); err != nil {
		p.failed(w, r, v, err, "/health")
		return
	}
	if _, policy, err := reportStyle(); err == nil {
		// The file's own policy; the page's would keep its style out.
		w.Header().Set("Content-Security-Policy", policy+"; frame-ancestors 'none'")
	}
	w.Header().Set("Content-Disposition", `inline; filename="season.html"`)
	writePage(w, http.StatusOK, &buf)
}

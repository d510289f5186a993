package page

import (
	"bytes"
	"errors"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/a-h/templ"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
	"fabricpot/control/task"
)

// fault is why a request was not done, and the way back.
type fault struct {
	code              int
	title, text       string
	back, backToWords string
}

// show writes a view. It is drawn whole first, so that a failure can't leave
// half a page behind a good status.
func (p *Page) show(w http.ResponseWriter, r *http.Request, code int, c templ.Component) {
	buf := templ.GetBuffer()
	defer templ.ReleaseBuffer(buf)
	if err := c.Render(r.Context(), buf); err != nil {
		http.Error(w, tErrFailed, http.StatusInternalServerError)
		return
	}
	writePage(w, code, buf)
}

func writePage(w http.ResponseWriter, code int, buf *bytes.Buffer) {
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Content-Length", strconv.Itoa(buf.Len()))
	w.WriteHeader(code)
	_, _ = w.Write(buf.Bytes()) // the reader may be gone
}

// refuse shows why nothing was done.
func (p *Page) refuse(w http.ResponseWriter, r *http.Request, v *visit, f fault) {
	p.show(w, r, f.code, faultView(v, f))
}

// status is the last published state; where there is none yet it says so.
func (p *Page) status(w http.ResponseWriter, r *http.Request, v *visit) (*runner.Status, bool) {
	st := p.o.Gateway.Status()
	if st == nil {
		w.Header().Set("Retry-After", "5")
		p.refuse(w, r, v, fault{http.StatusServiceUnavailable, p.o.Garden.Site.Name, tStarting, r.URL.Path, tBack})
		return nil, false
	}
	return st, true
}

// find is the status and the zone that the address names.
func (p *Page) find(w http.ResponseWriter, r *http.Request, v *visit) (*runner.Status, zoneRef, bool) {
	id := r.PathValue("zone")
	ref, ok := p.zones[garden.ZoneID(id)]
	if !ok {
		p.refuse(w, r, v, fault{http.StatusNotFound, tErrNoPot, sprintf(tErrNoPotTx, brief(id)), "/", tBackTerrace})
		return nil, zoneRef{}, false
	}
	st, ok := p.status(w, r, v)
	return st, ref, ok
}

// brief keeps what a stranger typed short where it is shown again.
func brief(s string) string {
	s = strings.ToValidUTF8(s, "�")
	if letters := []rune(s); len(letters) > 60 {
		return string(letters[:60]) + "…"
	}
	return s
}

func (p *Page) terrace(w http.ResponseWriter, r *http.Request, v *visit) {
	if st, ok := p.status(w, r, v); ok {
		p.show(w, r, http.StatusOK, terraceView(v, p.terraceModel(st, v), p.scale))
	}
}

// pair is a name and its value.
type pair struct{ Name, Value string }

// potModel is the Pot view.
type potModel struct {
	Head             headView
	Zone             zoneView
	Pot              potView
	Path             string
	Figures          []pair
	Why, Last        string
	Decisions        []pair
	Notes            []pair
	Probes           []probeView
	Neighbours       []zoneView
	Windows          []window
	Window           window
	Rows             []row
	PastTrouble      string
	HandTended       bool
	Shut             bool
	ShutUntil        string
	SharedLine       bool
	Offers           []offer
	MostAmount       string
	Unit             string
	Earliest, Last60 string
	Ticket           func(purpose string) string
	KeepsNotes       bool
	Signs            []choice
	TakesPlants      bool
}

// offer is an amount one tap away.
type offer struct{ Value, Words string }

// probeView is a probe in words.
type probeView struct{ Name, Depth, Reads, Quality, Fault, Age string }

func (p *Page) pot(w http.ResponseWriter, r *http.Request, v *visit) {
	st, ref, ok := p.find(w, r, v)
	if !ok {
		return
	}
	win, known := windowOf(r)
	zs := zoneStatus(st, ref.zone.ID)
	if !known || zs == nil {
		p.refuse(w, r, v, fault{http.StatusNotFound, tErrNoPage, tErrChoiceTx, potPath(ref.zone.ID), tBackPot})
		return
	}
	m := p.potModel(st, ref, zs, win, v)
	p.show(w, r, http.StatusOK, potPage(v, m))
}

func (p *Page) potModel(st *runner.Status, ref zoneRef, zs *runner.ZoneStatus, win window, v *visit) potModel {
	m := potModel{
		Head: p.headOf(st, v), Zone: p.zoneView(zs, st, v), Path: potPath(ref.zone.ID), Why: v.words(zs.Why),
		Windows: windows(), Window: win, HandTended: ref.line == nil, Unit: v.volumeUnit(), KeepsNotes: p.o.History != nil,
		Signs: p.signChoices(), TakesPlants: p.o.Plants != nil,
		Shut:     zs.ShutUntil != nil || zs.State == garden.KeptShut.String(),
		Earliest: st.At.Format(localTime), Last60: st.At.Add(mostShut).Format(localTime),
		Ticket: func(purpose string) string {
			return p.tickets.issue(v.session, purpose+" "+string(ref.zone.ID))
		},
	}
	if zs.ShutUntil != nil {
		m.ShutUntil = clock(*zs.ShutUntil, st.At)
	}
	m.Pot, _ = p.potView(ref.pot, st, v)
	for _, z := range m.Pot.Zones {
		if z.ID != ref.zone.ID {
			m.Neighbours = append(m.Neighbours, z)
		}
	}
	if zs.LastAt != nil {
		m.Last = sprintf(tLastGiven, v.volume(zs.LastLitres), clock(*zs.LastAt, st.At))
	}
	m.Figures = p.figures(st, zs, v)
	m.Probes = probeViews(zs, v)
	m.Offers = offers(zs, v)
	if ref.line != nil {
		m.SharedLine = len(ref.line.Outlets) > 1
	}
	p.readInto(&m, st, ref, zs, win, v)
	return m
}

func (p *Page) figures(st *runner.Status, zs *runner.ZoneStatus, v *visit) []pair {
	var out []pair
	if zs.HeldL != nil && zs.Water != nil {
		s := v.volume(*zs.HeldL) + ", " + percent(*zs.Water)
		if zs.SD > 0 {
			s += ", " + sprintf(tSure, v.volume(2*zs.SD*zs.VolumeL))
		}
		out = append(out, pair{tHolds, s})
	}
	out = append(out,
		pair{tCapacity, v.volume(zs.CapacityL) + ", " + percent(zs.Capacity)},
		pair{tRefill, v.volume(zs.RefillL) + ", " + percent(zs.RefillPoint)},
		pair{tVolume, v.volume(zs.VolumeL)},
		pair{tLossToday, v.volume(zs.LossTodayL)})
	if zs.HoursToDry != nil {
		s := tDryLong
		if *zs.HoursToDry < longHours {
			s = sprintf(tInHours, hours(*zs.HoursToDry))
		}
		out = append(out, pair{tDry, s})
	}
	if l := lineStatus(st, zs.Line); l != nil {
		out = append(out, pair{tLineToday, sprintf(tLineOf, v.volume(l.TodayL), v.volume(l.CapL))})
	}
	if zs.TapSalts != nil {
		out = append(out, pair{tTapSalts, v.words(zs.TapSalts.String())})
	}
	return out
}

func probeViews(zs *runner.ZoneStatus, v *visit) []probeView {
	var out []probeView
	for i := range zs.Probes {
		pr := &zs.Probes[i]
		pv := probeView{Name: strings.TrimPrefix(string(pr.Probe), string(zs.Zone)+"-"), Depth: sprintf(tDepth, v.length(pr.DepthCM)), Quality: pr.Quality, Fault: pr.Fault, Reads: "–"}
		if pr.Water != nil {
			pv.Reads = percent(*pr.Water)
		}
		if pr.TempC != nil {
			pv.Reads += ", " + v.temp(*pr.TempC)
		}
		pv.Age = span(time.Duration(clamp(pr.AgeS, 0, 1e7) * float64(time.Second)))
		out = append(out, pv)
	}
	return out
}

// readInto fills in what the journal knows. A journal that can't be read costs
// the past, not the page.
func (p *Page) readInto(m *potModel, st *runner.Status, ref zoneRef, zs *runner.ZoneStatus, win window, v *visit) {
	if p.o.History == nil {
		m.PastTrouble = tNoJournal
		return
	}
	data, err := p.readPast(ref, zs, st, win)
	switch {
	case err != nil:
		m.PastTrouble = sprintf(tPastBad, err)
	case len(data.Points) <= 1:
		m.PastTrouble = tNoPast
	default:
		m.Rows = data.rows(win, v, st.At.Location())
	}
	const lookBack = 7 * 24 * time.Hour
	decisions, errD := p.o.History.DecisionsOf(ref.zone.ID, st.At.Add(-lookBack), 6)
	for _, d := range decisions {
		text := d.Text
		if d.Cause != garden.NotRefused {
			text += " (" + d.Cause.String() + ")"
		}
		m.Decisions = append(m.Decisions, pair{clock(d.At.Wall, st.At), v.words(text)})
	}
	const most = 8
	notes, errN := p.o.History.NotesOf(ref.zone.ID, st.At.Add(-200*24*time.Hour), 8*most)
	for _, n := range notes {
		if strings.HasPrefix(n.Kind, journal.EyesKind) || len(m.Notes) == most {
			continue
		}
		m.Notes = append(m.Notes, pair{clock(n.At.Wall, st.At), noteWords(n.Kind, n.Value, n.Text)})
	}
	if err := errors.Join(errD, errN); err != nil {
		m.PastTrouble = sprintf(tPastBad, err)
	}
}

func noteWords(kind string, value garden.Measured, text string) string {
	for _, k := range noteKinds() {
		if k.Key == kind {
			kind = k.Words
		}
	}
	if value.Known {
		kind += ": " + strconv.FormatFloat(value.Value, 'g', 4, 64)
	}
	// An observation begins with its sign.
	if sign, rest, _ := strings.Cut(text, ": "); sign != "" {
		for _, s := range task.Signs() {
			if string(s.Sign) == sign {
				kind, text = capital(s.Words), rest
			}
		}
	}
	if text != "" {
		kind += " – " + text
	}
	return kind
}

func potPath(id garden.ZoneID) string { return "/pot/" + string(id) }

package page

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control/garden"
)

// who is how the journal names what came from the page.
const who = "page"

const (
	localTime = "2006-01-02T15:04"
	mostShut  = 60 * 24 * time.Hour
	maxNote   = 500
)

// spend uses a form's ticket up, or shows that it is used up already.
func (p *Page) spend(w http.ResponseWriter, r *http.Request, v *visit, purpose, back string) bool {
	err := p.tickets.spend(r.PostForm.Get("ticket"), v.session, purpose)
	switch {
	case err == nil:
		return true
	case errors.Is(err, errMany):
		p.refuse(w, r, v, fault{http.StatusTooManyRequests, tErrWait, tErrWaitTx + " " + tNothing, back, tBack})
	default:
		p.refuse(w, r, v, fault{http.StatusConflict, tErrStale, tErrStaleTx + " " + tNothing, back, tBack})
	}
	return false
}

// failed shows that the gateway did not do what was asked.
func (p *Page) failed(w http.ResponseWriter, r *http.Request, v *visit, err error, back string) {
	p.refuse(w, r, v, fault{http.StatusServiceUnavailable, tErrFailed, sprintf(tErrFailedTx, err), back, tBack})
}

// amount reads a volume from a form, in litres, and refuses what can't be meant.
func amount(value, unit string, most float64) (float64, bool) {
	if len(value) > 40 || unit != "L" && unit != "gal" {
		return 0, false
	}
	// A phone's keyboard may write a comma.
	litres, err := units.Volume().Parse(strings.Replace(strings.TrimSpace(value), ",", ".", 1) + " " + unit)
	return litres, err == nil && garden.Finite(litres) && litres >= 0.01 && litres <= most*(1+1e-9)
}

// refuseAmount shows what would have been an amount.
func (p *Page) refuseAmount(w http.ResponseWriter, r *http.Request, v *visit, got string, most float64, back string) {
	p.refuse(w, r, v, fault{http.StatusBadRequest, tErrAmount, sprintf(tErrAmountTx, v.volume(most), brief(got)) + " " + tNothing, back, tBack})
}

// offers are amounts a gardener is likely to want.
func offers(zs *runner.ZoneStatus, v *visit) []offer {
	var out []offer
	round := func(litres float64) float64 {
		in, _ := units.Volume().In(litres, v.volumeUnit())
		step := 0.5
		if in < 1 {
			step = 0.1
		}
		return max(step, float64(int(in/step+0.5))*step)
	}
	add := func(in float64, words string) {
		s := sprintf("%g", float64(int(in*10+0.5))/10)
		out = append(out, offer{s, sprintf(words, s+" "+v.volumeUnit())})
	}
	small := round(0.03 * zs.VolumeL)
	add(small, "%s")
	if big := round(0.08 * zs.VolumeL); big > small {
		add(big, "%s")
	}
	if zs.HeldL != nil {
		if room := zs.CapacityL - *zs.HeldL; room > 0.02*zs.VolumeL {
			add(round(room), tToFull)
		}
	}
	return out
}

// previewModel is what a watering would do.
type previewModel struct {
	Head                     headView
	Path, Name, Amount       string
	From, To, Minutes, Whole string
	Warnings                 []string
	Litres, Ticket           string
	MayGo                    bool
}

// waterPreview shows what an amount does; it changes nothing.
func (p *Page) waterPreview(w http.ResponseWriter, r *http.Request, v *visit) {
	st, ref, ok := p.find(w, r, v)
	if !ok {
		return
	}
	back := potPath(ref.zone.ID)
	if ref.line == nil {
		p.refuse(w, r, v, fault{http.StatusConflict, tErrNoLine, tNoLine, back, tBackPot})
		return
	}
	q := r.URL.Query()
	got := q.Get("offer")
	if got == "" {
		got = q.Get("amount")
	}
	most := ref.zone.VolumeL(ref.pot)
	litres, ok := amount(got, q.Get("unit"), most)
	if !ok {
		p.refuseAmount(w, r, v, got, most, back)
		return
	}
	m := p.preview(st, ref, litres, v)
	if m.MayGo = m.MayGo && v.mayAct(); m.MayGo {
		m.Litres = formLitres(litres)
		m.Ticket = p.tickets.issue(v.session, waterPurpose(ref.zone.ID, m.Litres))
	}
	p.show(w, r, http.StatusOK, previewPage(v, m))
}

// waterPurpose binds a ticket to what was shown: this pot, this amount.
func waterPurpose(z garden.ZoneID, litres string) string { return "water " + string(z) + " " + litres }

func formLitres(l float64) string { return sprintf("%.3f", l) }

func (p *Page) preview(st *runner.Status, ref zoneRef, litres float64, v *visit) previewModel {
	zs := zoneStatus(st, ref.zone.ID)
	m := previewModel{Head: p.headOf(st, v), Path: potPath(ref.zone.ID), Name: string(ref.zone.ID), Amount: v.volume(litres), MayGo: zs != nil}
	if zs == nil {
		return m
	}
	if zs.Name != "" {
		m.Name = zs.Name
	}
	m.From, m.To = tNoWater, tNoWater
	if zs.HeldL != nil {
		m.From = sprintf(tAtPresent, v.volume(*zs.HeldL))
		m.To = sprintf(tAfter, v.volume(min(*zs.HeldL+litres, max(*zs.HeldL, zs.CapacityL))), v.volume(zs.CapacityL))
		if over := *zs.HeldL + litres - zs.CapacityL; over > 0.01*zs.VolumeL {
			m.Warnings = append(m.Warnings, sprintf(tRunsOut, v.volume(min(over, litres))))
		}
	}
	share := ref.line.ShareOf(ref.zone.ID)
	if share <= 0 {
		m.MayGo = false
		return m
	}
	whole := litres / share
	m.Minutes = sprintf(tMinutesOf, hours(whole/ref.line.FlowLPH()))
	if share < 0.999 {
		m.Whole = v.volume(whole)
		for _, o := range ref.line.Outlets {
			if o.Zone != ref.zone.ID {
				m.Warnings = append(m.Warnings, sprintf(tOthers, v.volume(whole*ref.line.ShareOf(o.Zone)), p.nameOf(st, o.Zone)))
			}
		}
	}
	if l := lineStatus(st, ref.line.ID); l != nil && l.CapL > 0 {
		if left := l.CapL - l.TodayL; left <= 0 {
			m.Warnings = append(m.Warnings, tCapNone)
		} else if left < whole {
			m.Warnings = append(m.Warnings, sprintf(tCapLeft, v.volume(left)))
		}
	}
	if !p.allowed(st.At) {
		m.Warnings = append(m.Warnings, tHoursShut)
	}
	if held, until := shut(zs, st); held {
		m.Warnings = append(m.Warnings, sprintf(tIsShut, until))
		m.MayGo = false
	}
	return m
}

// allowed tells whether watering is allowed at the hour.
func (p *Page) allowed(t time.Time) bool {
	hours := p.o.Garden.Supply.Hours
	for _, w := range hours {
		if w.Contains(t) {
			return true
		}
	}
	return len(hours) == 0
}

func (p *Page) nameOf(st *runner.Status, id garden.ZoneID) string {
	if zs := zoneStatus(st, id); zs != nil && zs.Name != "" {
		return zs.Name
	}
	return string(id)
}

// shut tells whether a zone is kept shut and in words until when.
func shut(zs *runner.ZoneStatus, st *runner.Status) (bool, string) {
	switch {
	case zs.ShutUntil != nil:
		return true, clock(*zs.ShutUntil, st.At)
	case zs.State == garden.KeptShut.String():
		return true, tUntilYou
	}
	return false, ""
}

// water hands the confirmed amount in. The permit has the last word.
func (p *Page) water(w http.ResponseWriter, r *http.Request, v *visit) {
	st, ref, ok := p.find(w, r, v)
	if !ok {
		return
	}
	back := potPath(ref.zone.ID)
	if ref.line == nil {
		p.refuse(w, r, v, fault{http.StatusConflict, tErrNoLine, tNoLine + " " + tNothing, back, tBackPot})
		return
	}
	most := ref.zone.VolumeL(ref.pot)
	got := r.PostForm.Get("litres")
	litres, ok := amount(got, "L", most)
	if !ok {
		p.refuseAmount(w, r, v, got, most, back)
		return
	}
	if zs := zoneStatus(st, ref.zone.ID); zs != nil {
		if held, until := shut(zs, st); held {
			p.refuse(w, r, v, fault{http.StatusConflict, tErrShut, sprintf(tIsShut, until) + " " + tNothing, back, tBackPot})
			return
		}
	}
	if !p.spend(w, r, v, waterPurpose(ref.zone.ID, got), back) {
		return
	}
	if err := p.ask(r, garden.Ask{Kind: garden.AskWater, Zone: ref.zone.ID, Litres: litres, Who: who}); err != nil {
		p.failed(w, r, v, err, back)
		return
	}
	p.done(w, r, back, sprintf(tWaterAsked, v.volume(litres)))
}

// shut keeps a zone's line closed until a time.
func (p *Page) shut(w http.ResponseWriter, r *http.Request, v *visit) {
	st, ref, ok := p.find(w, r, v)
	if !ok {
		return
	}
	back := potPath(ref.zone.ID)
	if ref.line == nil {
		p.refuse(w, r, v, fault{http.StatusConflict, tErrNoLine, tNoLine + " " + tNothing, back, tBackPot})
		return
	}
	until, ok := shutUntil(r.PostForm.Get("for"), r.PostForm.Get("until"), st.At)
	if !ok {
		p.refuse(w, r, v, fault{http.StatusBadRequest, tErrTime, sprintf(tErrTimeTx, brief(r.PostForm.Get("until"))) + " " + tNothing, back, tBackPot})
		return
	}
	if !p.spend(w, r, v, "shut "+string(ref.zone.ID), back) {
		return
	}
	if err := p.keepShut(r, ref.zone.ID, until.Sub(st.At)); err != nil {
		p.failed(w, r, v, err, back)
		return
	}
	p.done(w, r, back, sprintf(tShutDone, clock(until, st.At)))
}

// shutUntil reads a choice or a time on the garden's clock.
func shutUntil(choice, at string, now time.Time) (time.Time, bool) {
	switch choice {
	case "hour":
		return now.Add(time.Hour), true
	case "morning":
		y, m, d := now.Date()
		t := time.Date(y, m, d, 6, 0, 0, 0, now.Location())
		if !t.After(now.Add(time.Hour)) {
			t = time.Date(y, m, d+1, 6, 0, 0, 0, now.Location())
		}
		return t, true
	case "days":
		return now.Add(72 * time.Hour), true
	case "until":
		t, err := time.ParseInLocation(localTime, at, now.Location())
		return t, err == nil && t.After(now) && !t.After(now.Add(mostShut))
	}
	return time.Time{}, false
}

func (p *Page) openAgain(w http.ResponseWriter, r *http.Request, v *visit) {
	_, ref, ok := p.find(w, r, v)
	if !ok || !p.spend(w, r, v, "open "+string(ref.zone.ID), potPath(ref.zone.ID)) {
		return
	}
	if err := p.ask(r, garden.Ask{Kind: garden.AskRelease, Zone: ref.zone.ID, Who: who}); err != nil {
		p.failed(w, r, v, err, potPath(ref.zone.ID))
		return
	}
	p.done(w, r, potPath(ref.zone.ID), tOpenDone)
}

// gave enters water that a person poured.
func (p *Page) gave(w http.ResponseWriter, r *http.Request, v *visit) {
	_, ref, ok := p.find(w, r, v)
	if !ok {
		return
	}
	back := potPath(ref.zone.ID)
	if r.PostForm.Get("back") == "rounds" {
		back = "/rounds"
	}
	most := ref.zone.VolumeL(ref.pot)
	got := r.PostForm.Get("amount")
	litres, ok := amount(got, r.PostForm.Get("unit"), most)
	if !ok {
		p.refuseAmount(w, r, v, got, most, back)
		return
	}
	if !p.spend(w, r, v, "gave "+string(ref.zone.ID), back) {
		return
	}
	if err := p.ask(r, garden.Ask{Kind: garden.GardenerWatered, Zone: ref.zone.ID, Litres: litres, Who: who}); err != nil {
		p.failed(w, r, v, err, back)
		return
	}
	p.done(w, r, back, sprintf(tGaveDone, v.volume(litres)))
}

// note keeps an observation in the journal.
func (p *Page) note(w http.ResponseWriter, r *http.Request, v *visit) {
	st, ref, ok := p.find(w, r, v)
	if !ok {
		return
	}
	back := potPath(ref.zone.ID)
	n, why := readNote(r)
	if why != "" {
		p.refuse(w, r, v, fault{http.StatusBadRequest, tErrNote, why + " " + tNothing, back, tBackPot})
		return
	}
	if p.o.History == nil {
		p.refuse(w, r, v, fault{http.StatusConflict, tErrNote, tNoJournal, back, tBackPot})
		return
	}
	if !p.spend(w, r, v, "note "+string(ref.zone.ID), back) {
		return
	}
	n.Zone, n.Who = ref.zone.ID, who
	n.At = garden.Moment{Wall: st.At, Synced: st.Synced}
	if err := p.o.History.AddNote(n); err != nil {
		p.failed(w, r, v, err, back)
		return
	}
	p.done(w, r, back, tNoteDone)
}

// readNote reads the form of a note; why says what is wrong with it.
func readNote(r *http.Request) (n journal.Note, why string) {
	n.Kind = r.PostForm.Get("kind")
	n.Text = strings.TrimSpace(r.PostForm.Get("text"))
	known := false
	for _, k := range noteKinds() {
		known = known || k.Key == n.Kind
	}
	if !known {
		return n, tErrKind
	}
	if value := strings.TrimSpace(r.PostForm.Get("value")); value != "" {
		x, rest, err := units.Number(strings.Replace(value, ",", ".", 1))
		if n.Value = garden.Known(x); err != nil || strings.TrimSpace(rest) != "" || !n.Value.Known || x < -1e6 || x > 1e6 {
			return n, sprintf(tErrValue, brief(value))
		}
	}
	if len([]rune(n.Text)) > maxNote || strings.ToValidUTF8(n.Text, "") != n.Text || strings.ContainsRune(n.Text, 0) {
		return n, tErrNoteTx
	}
	if n.Text == "" && !n.Value.Known && n.Kind == "seen" {
		return n, tErrNoteTx
	}
	return n, ""
}

// actTimeout bounds how long a form waits for the loop.
const actTimeout = 10 * time.Second

func within(ctx context.Context) (context.Context, context.CancelFunc) {
	return context.WithTimeout(ctx, actTimeout)
}

func (p *Page) ask(r *http.Request, a garden.Ask) error {
	ctx, cancel := within(r.Context())
	defer cancel()
	return p.o.Gateway.Ask(ctx, a)
}

func (p *Page) keepShut(r *http.Request, zone garden.ZoneID, d time.Duration) error {
	ctx, cancel := within(r.Context())
	defer cancel()
	return p.o.Gateway.KeepShut(ctx, zone, d, who)
}

package page

import (
	"net/http"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
)

const (
	localTime = "2006-01-02T15:04"
	mostShut  = 60 * 24 * time.Hour
)

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

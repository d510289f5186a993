package page

import (
	"net/http"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control"
	"fabricpot/control/garden"
)

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
	if why, taken := p.closed(st); why != "" {
		m.Warnings = append(m.Warnings, why)
		m.MayGo = m.MayGo && taken
	}
	if held, until := shut(zs, st); held {
		m.Warnings = append(m.Warnings, sprintf(tIsShut, until))
		m.MayGo = false
	}
	return m
}

// closed says where watering is not allowed at the hour, and whether a wish is taken and
// waits for the next time it is.
func (p *Page) closed(st *runner.Status) (why string, taken bool) {
	opens := control.Opens(p.o.Garden.Supply.Hours, garden.Moment{Wall: st.At, Synced: st.Synced})
	switch wait := opens.Sub(st.At); {
	case wait <= 0:
		return "", true
	case wait > control.AskLasts:
		return sprintf(tHoursShut, clock(opens, st.At)), false
	}
	return sprintf(tHoursWait, clock(opens, st.At)), true
}

func (p *Page) nameOf(st *runner.Status, id garden.ZoneID) string {
	if zs := zoneStatus(st, id); zs != nil && zs.Name != "" {
		return zs.Name
	}
	return string(id)
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
	if why, taken := p.closed(st); !taken {
		p.refuse(w, r, v, fault{http.StatusConflict, tErrHours, why + " " + tNothing, back, tBackPot})
		return
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

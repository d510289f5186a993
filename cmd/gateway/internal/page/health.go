package page

import (
	"net/http"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/alarm"
	"fabricpot/control/garden"
)

// healthModel is the Health view.
type healthModel struct {
	Head   headView
	Alarms []alarmView
	// Resting are those that were put out of service and do not stand.
	Resting         []alarmView
	CanAck, CanRest bool
	Lines           []lineView
	Probes          []probeView
	Buses           []busView
	System          []pair
	Automatic       bool
	// AutoTicket is for turning automatic control on and off.
	AutoTicket string
	// ClockAsk is what is asked about an unconfirmed clock, "" for nothing.
	ClockAsk, ClockShown, ClockTicket string
	// Season offers the season's report.
	Season bool
	Who    string
}

type alarmView struct {
	Name, About, Title, Text, Next, State, Ticket, RestTicket string
	Unseen, Out                                               bool
}

type lineView struct {
	Name, Valve, Today, Flow, Trouble string
	Open, Doubt                       bool
}

func (p *Page) health(w http.ResponseWriter, r *http.Request, v *visit) {
	st, ok := p.status(w, r, v)
	if !ok {
		return
	}
	m := healthModel{
		Head: p.headOf(st, v), CanAck: p.o.Acknowledge != nil, CanRest: p.o.Rest != nil, Automatic: st.Automatic,
		AutoTicket: p.tickets.issue(v.session, "automatic"),
		Buses:      p.busViews(st), System: p.system(st), Season: p.o.Season != nil,
	}
	p.clockForm(&m, st, v)
	if v.signedIn {
		m.Who = sprintf(tSignedInAs, map[role]string{owner: tOwner, guest: tGuest}[v.role])
	}
	for _, a := range st.Alarms {
		av := alarmView{
			Name: a.Name, About: a.About, Title: capital(a.Name), Text: v.words(a.Text), Next: a.Next,
			Unseen: a.Unseen(), Ticket: p.tickets.issue(v.session, seenPurpose(a.Name, a.About)),
			Out: a.OutUntil != nil, RestTicket: p.tickets.issue(v.session, restPurpose(a.Name, a.About)),
		}
		if av.Out {
			a.State = sprintf(tOutUntil, clock(*a.OutUntil, st.At))
		}
		if a.Rests() {
			av.Text = sprintf(tResting2, joined(av.Title, a.About), a.State)
			m.Resting = append(m.Resting, av)
			continue
		}
		av.State = joined(a.About, a.State, sprintf(tSinceAt, clock(a.Since, st.At)))
		m.Alarms = append(m.Alarms, av)
	}
	for _, l := range st.Lines {
		lv := lineView{Name: l.Name, Open: l.Open, Flow: v.volume(l.FlowLPH) + "/h", Today: sprintf(tLineOf, v.volume(l.TodayL), v.volume(l.CapL)), Trouble: l.Trouble}
		if lv.Name == "" {
			lv.Name = string(l.Line)
		}
		switch {
		case l.Open:
			lv.Valve = tOpen
		case l.Confirmed:
			lv.Valve = tClosedYes
		case confirming(&l, st):
			lv.Valve = tClosedSoon // it was just told to close
		default:
			lv.Valve, lv.Doubt = tClosedNo, true
		}
		m.Lines = append(m.Lines, lv)
	}
	for i := range st.Zones {
		zs := &st.Zones[i]
		for _, pv := range probeViews(zs, v) {
			pv.Name = p.nameOf(st, zs.Zone) + ": " + pv.Name
			m.Probes = append(m.Probes, pv)
		}
	}
	p.show(w, r, http.StatusOK, healthPage(v, m))
}

// capital begins a line with a capital letter.
func capital(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[n:]
}

// joined puts what there is of the words in one line.
func joined(words ...string) string {
	return strings.Join(slices.DeleteFunc(words, func(w string) bool { return w == "" }), " · ")
}

func seenPurpose(name, about string) string { return "seen " + name + " " + about }

func restPurpose(name, about string) string { return "rest " + name + " " + about }

// restChoices are for how long an alarm can be put to rest.
func restChoices() []choice {
	return []choice{{"day", tRestDay}, {"week", tRestWeek}, {"month", tRestMonth}}
}

func (p *Page) system(st *runner.Status) []pair {
	at := st.At.Format("Monday 2 January 2006 15:04")
	out := []pair{{tClockRow, sprintf(tClockOK, at)}, {tRoundsTaken, sprintf(tRounds2, st.Ticks, st.At.Format("15:04:05"))}}
	if !st.Synced {
		out[0].Value = sprintf(tClockNo, at)
	}
	hw := tBoard
	if st.Hardware == garden.Bench {
		hw = tBench
	}
	out = append(out, pair{tHardware, hw})
	kept := st.Journal
	if kept == "" && p.o.History != nil {
		kept = p.o.History.Path()
	}
	if kept == "" {
		kept = tJournalNone
	}
	out = append(out, pair{tJournal, kept})
	if d, ok := p.disk(); ok {
		out = append(out, d)
	}
	if p.o.Broker != nil {
		out = append(out, pair{tBroker, p.o.Broker()})
	}
	out = append(out, p.wayPairs()...)
	if p.o.Version != "" {
		out = append(out, pair{tVersion, p.o.Version})
	}
	return out
}

// posted is the alarm that a form is about, nil where it is none any more.
func (p *Page) posted(r *http.Request) *runner.AlarmLine {
	if st := p.o.Gateway.Status(); st != nil {
		for i := range st.Alarms {
			if a := &st.Alarms[i]; a.Name == r.PostForm.Get("name") && a.About == r.PostForm.Get("about") {
				return a
			}
		}
	}
	return nil
}

// rest takes an alarm out of service for a time, or puts it back.
func (p *Page) rest(w http.ResponseWriter, r *http.Request, v *visit) {
	long, known := map[string]time.Duration{"back": 0, "day": 24 * time.Hour, "week": 7 * 24 * time.Hour, "month": alarm.MostShelved}[r.PostForm.Get("for")]
	a := p.posted(r)
	switch {
	case a == nil || p.o.Rest == nil:
		p.refuse(w, r, v, fault{http.StatusNotFound, tErrUnknownA, tErrUnknownAx, "/health", tHealth})
		return
	case !known:
		p.refuse(w, r, v, fault{http.StatusBadRequest, tErrChoice, tErrChoiceTx + " " + tNothing, "/health", tHealth})
		return
	case !p.spend(w, r, v, restPurpose(a.Name, a.About), "/health"):
		return
	}
	said := tBackDone
	if long > 0 {
		at := p.o.Gateway.Status().At
		said = sprintf(tRestDone, clock(at.Add(long), at))
	}
	ctx, cancel := within(r.Context())
	defer cancel()
	if err := p.o.Rest(ctx, a.Name, a.About, long, who); err != nil {
		p.failed(w, r, v, err, "/health")
		return
	}
	p.done(w, r, "/health", said)
}

// acknowledge marks an alarm as seen.
func (p *Page) acknowledge(w http.ResponseWriter, r *http.Request, v *visit) {
	a := p.posted(r)
	if a == nil || a.Rests() || p.o.Acknowledge == nil {
		p.refuse(w, r, v, fault{http.StatusNotFound, tErrUnknownA, tErrUnknownAx, "/health", tHealth})
		return
	}
	name, about, seen := a.Name, a.About, a.Acknowledged
	if !p.spend(w, r, v, seenPurpose(name, about), "/health") {
		return
	}
	if seen { // by somebody else meanwhile
		p.done(w, r, "/health", tAcked)
		return
	}
	ctx, cancel := within(r.Context())
	defer cancel()
	if err := p.o.Acknowledge(ctx, name, about, who); err != nil {
		p.failed(w, r, v, err, "/health")
		return
	}
	p.done(w, r, "/health", tAcked)
}

// automatic turns automatic control on or off.
func (p *Page) automatic(w http.ResponseWriter, r *http.Request, v *visit) {
	on := r.PostForm.Get("on")
	if on != "yes" && on != "no" {
		p.refuse(w, r, v, fault{http.StatusBadRequest, tErrChoice, tErrChoiceTx + " " + tNothing, "/health", tHealth})
		return
	}
	if !p.spend(w, r, v, "automatic", "/health") {
		return
	}
	ctx, cancel := within(r.Context())
	defer cancel()
	if err := p.o.Gateway.Automatic(ctx, on == "yes", who); err != nil {
		p.failed(w, r, v, err, "/health")
		return
	}
	said := tAutoOffDone
	if on == "yes" {
		said = tAutoOnDone
	}
	p.done(w, r, "/health", said)
}

// closeAll closes every line. It asks for no fresh ticket: closing is the safe
// state, and a form that lay open for hours must still be able to do it.
func (p *Page) closeAll(w http.ResponseWriter, r *http.Request, v *visit) {
	ctx, cancel := within(r.Context())
	defer cancel()
	rep, err := p.o.Gateway.CloseAll(ctx, who)
	if err != nil {
		p.failed(w, r, v, err, "/health")
		return
	}
	said := sprintf(tCloseDone, rep.Closed, rep.Lines)
	if len(rep.Unconfirmed) > 0 {
		names := make([]string, 0, len(rep.Unconfirmed))
		for _, l := range rep.Unconfirmed {
			names = append(names, string(l))
		}
		said = sprintf(tCloseOpen, rep.Closed, rep.Lines, strings.Join(names, ", "))
	}
	p.done(w, r, "/health", said)
}

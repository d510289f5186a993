package page

import (
	"errors"
	"net/http"
	"slices"
	"sort"
	"strings"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"
	"fabricpot/control/task"
)

// roundsModel is the Rounds view.
type roundsModel struct {
	Head  headView
	Items []roundItem
	Unit  string
}

// roundItem is a pot that a person waters, or else a task.
type roundItem struct {
	Hand *handView
	Task *taskView
}

// handView is a pot that a person waters.
type handView struct {
	Name, Title, When, Why, Path string
	Short                        bool
	Amount, Ticket               string
	hours                        float64
	// room is what fits in, L; watered tells that it got some since it was under its
	// refill point.
	room    garden.Measured
	watered bool
}

// taskView is one task of the list.
type taskView struct {
	ID, Title, Why, Due, Urgency string
	// When is the two in one line.
	When                   string
	Late                   bool
	Steps, Cautions, Since []string
	Amount, Ticket         string
	Pours                  bool
}

func (p *Page) rounds(w http.ResponseWriter, r *http.Request, v *visit) {
	st, ok := p.status(w, r, v)
	if !ok {
		return
	}
	m := roundsModel{Head: p.headOf(st, v), Unit: v.volumeUnit()}
	m.Items = p.roundItems(st, v)
	p.show(w, r, http.StatusOK, roundsPage(v, m))
}

// roundItems are the list's tasks in its order, the water for pots without a line as those
// pots, and after them the pots that need none yet. One that has come to want water since
// the list was last looked through goes first.
func (p *Page) roundItems(st *runner.Status, v *visit) []roundItem {
	var now, listed, later []roundItem
	pots := map[garden.ZoneID]*handView{}
	for i := range st.Zones {
		if zs := &st.Zones[i]; zs.HandTended && !zs.Empty {
			h := p.handView(zs, v)
			pots[zs.Zone] = &h
		}
	}
	if p.o.Rounds != nil {
		for _, t := range p.o.Rounds.List(st.At) {
			if h := pots[t.Zone]; h != nil && t.Kind == task.Water {
				// The list looks once an hour: water that was entered since is in the pot's
				// state alone.
				if h.watered {
					continue
				}
				// Else its figure, as the command tells it: it follows the pot's in steps.
				if !h.room.Known || h.room.Value > (1-feeding.ChangeShare)*t.Litres {
					h.Title, h.Amount = sprintf(tHandWater, h.Name, v.volume(t.Litres)), amountIn(t.Litres, v)
				}
				listed = append(listed, roundItem{Hand: h})
				delete(pots, t.Zone)
				continue
			}
			tv := p.taskView(t, st, v)
			listed = append(listed, roundItem{Task: &tv})
		}
	}
	for _, h := range pots {
		if h.Short {
			now = append(now, roundItem{Hand: h})
		} else {
			later = append(later, roundItem{Hand: h})
		}
	}
	for _, l := range [][]roundItem{now, later} {
		sort.Slice(l, func(i, j int) bool {
			a, b := l[i].Hand, l[j].Hand
			return a.hours < b.hours || a.hours == b.hours && a.Path < b.Path
		})
	}
	return slices.Concat(now, listed, later)
}

func (p *Page) handView(zs *runner.ZoneStatus, v *visit) handView {
	h := handView{Name: zs.Name, Path: potPath(zs.Zone), Ticket: p.tickets.issue(v.session, "gave "+string(zs.Zone))}
	if h.Name == "" {
		h.Name = string(zs.Zone)
	}
	if zs.HeldL == nil || zs.ToRefillL == nil || zs.HoursLeft == nil {
		h.Title, h.Why = h.Name, tHandUnknown
		return h
	}
	room := max(0, zs.CapacityL-*zs.HeldL)
	h.hours, h.room = *zs.HoursLeft, garden.Known(room)
	h.watered = *zs.ToRefillL > feeding.GotWater*(zs.CapacityL-zs.RefillL)
	h.Why = sprintf(tHandWhy, v.volume(*zs.HeldL), v.volume(zs.RefillL), v.volume(zs.CapacityL))
	switch {
	case *zs.ToRefillL <= 0:
		h.Short, h.When, h.Title, h.hours = true, tHandNow, sprintf(tHandWater, h.Name, v.volume(room)), 0
	case *zs.HoursLeft < 24:
		h.When, h.Title = sprintf(tHandWhen, hours(*zs.HoursLeft)), sprintf(tHandWater, h.Name, v.volume(room))
	default:
		h.Title = sprintf(tHandRest, h.Name)
		if *zs.HoursLeft < longHours {
			h.When = sprintf(tHandWhen, hours(*zs.HoursLeft))
		}
	}
	if room > 0.05 {
		h.Amount = amountIn(room, v)
	}
	return h
}

// amountIn is a number for a form, in the browser's unit.
func amountIn(litres float64, v *visit) string {
	number, _, _ := strings.Cut(v.volume(litres), apart)
	return number
}

func (p *Page) taskView(t task.Listed, st *runner.Status, v *visit) taskView {
	tv := taskView{
		ID: t.ID, Title: v.words(t.Title), Why: v.words(t.Why), Steps: v.eachWords(t.Steps), Cautions: v.eachWords(t.Cautions), Since: v.eachWords(t.Since), Urgency: t.Urgency,
		Due: sprintf(tDue, clock(t.Due, st.At)), Late: t.LateDays > 0 && t.Urgency != task.DueNow.String(),
		Pours: t.Litres > 0, Ticket: p.tickets.issue(v.session, "done "+t.ID),
	}
	tv.When = capital(t.Urgency + ", " + tv.Due)
	if t.Urgency == task.DueNow.String() {
		tv.When = capital(tv.Due)
	}
	if t.Litres > 0 {
		tv.Amount = amountIn(t.Litres, v)
	}
	return tv
}

// tick enters that a task was done.
func (p *Page) tick(w http.ResponseWriter, r *http.Request, v *visit) {
	st, ok := p.status(w, r, v)
	if !ok {
		return
	}
	id := r.PostForm.Get("task")
	if p.o.Rounds == nil || id == "" || len(id) > 200 {
		p.refuse(w, r, v, fault{http.StatusNotFound, tErrUnknownA, tErrUnknownAx, "/rounds", tRounds})
		return
	}
	rep := task.Report{At: st.At, Again: r.PostForm.Get("again") == "yes"}
	if got := r.PostForm.Get("amount"); got != "" {
		const most = 1000
		litres, ok := amount(got, r.PostForm.Get("unit"), most)
		if !ok {
			p.refuseAmount(w, r, v, got, most, "/rounds")
			return
		}
		rep.Litres = garden.Known(litres)
	}
	if !p.spend(w, r, v, "done "+id, "/rounds") {
		return
	}
	ctx, cancel := within(r.Context())
	defer cancel()
	err := p.o.Rounds.Done(ctx, id, rep)
	switch {
	case errors.Is(err, task.ErrAsk):
		said := strings.TrimPrefix(err.Error(), task.ErrAsk.Error()+": ")
		p.show(w, r, http.StatusConflict, againPage(v, againModel{
			ID: id, Said: sprintf(tAgainText, said+"."), Amount: r.PostForm.Get("amount"), Unit: r.PostForm.Get("unit"),
			Ticket: p.tickets.issue(v.session, "done "+id),
		}))
	case errors.Is(err, feeding.ErrLitres):
		p.refuse(w, r, v, fault{http.StatusBadRequest, tErrAmount, v.words(capital(err.Error())) + ".", "/rounds", tBack})
	case errors.Is(err, task.ErrUnknown):
		p.refuse(w, r, v, fault{http.StatusNotFound, tErrUnknownA, tErrUnknownAx, "/rounds", tRounds})
	case err != nil:
		p.failed(w, r, v, err, "/rounds")
	default:
		p.done(w, r, "/rounds", tTicked)
	}
}

// againModel asks whether a task was done a second time.
type againModel struct{ ID, Said, Amount, Unit, Ticket string }

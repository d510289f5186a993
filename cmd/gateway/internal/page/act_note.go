package page

import (
	"context"
	"net/http"
	"strings"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control/feed"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"
	"fabricpot/control/task"
)

// maxNote bounds free text, letters.
const maxNote = 500

// Observer answers what a gardener saw from the pot's own records, and keeps it.
// *runner.Desk is one.
type Observer interface {
	Note(ctx context.Context, o runner.Observation, who string) (feeding.Noted, error)
}

// note keeps an observation. A sign of the plant is answered at once; a
// measurement or free words go to the journal alone.
func (p *Page) note(w http.ResponseWriter, r *http.Request, v *visit) {
	st, ref, ok := p.find(w, r, v)
	if !ok {
		return
	}
	back := potPath(ref.zone.ID)
	n, sign, why := p.readNote(r)
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
	if sign != "" {
		ctx, cancel := within(r.Context())
		defer cancel()
		said, err := p.o.Observer.Note(ctx, runner.Observation{Zone: ref.zone.ID, Sign: string(sign), Text: n.Text}, who)
		if err != nil {
			p.failed(w, r, v, err, back)
			return
		}
		p.show(w, r, http.StatusOK, answerPage(v, p.answerModel(said, ref, st, v, n.Text)))
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

// readNote reads the form of a note; why says what is wrong with it. sign is
// empty where it is no sign of the plant.
func (p *Page) readNote(r *http.Request) (n journal.Note, sign task.Sign, why string) {
	n.Kind = r.PostForm.Get("kind")
	n.Text = strings.TrimSpace(r.PostForm.Get("text"))
	known := false
	for _, k := range noteKinds() {
		known = known || k.Key == n.Kind
	}
	if p.o.Observer != nil {
		for _, k := range task.Signs() {
			if string(k.Sign) == n.Kind {
				known, sign = true, k.Sign
			}
		}
		// When a plant hangs is what tells dry from wet.
		if w, ok := map[string]string{"wilted-morning": tInMorning, "wilted-midday": tAtMidday}[n.Kind]; ok {
			sign, n.Text = task.Limp, joined(w, n.Text)
		}
	}
	if !known {
		return n, sign, tErrKind
	}
	if value := strings.TrimSpace(r.PostForm.Get("value")); value != "" {
		x, rest, err := units.Number(strings.Replace(value, ",", ".", 1))
		if n.Value = garden.Known(x); err != nil || strings.TrimSpace(rest) != "" || !n.Value.Known || x < -1e6 || x > 1e6 {
			return n, sign, sprintf(tErrValue, brief(value))
		}
	}
	if why := checkValue(n.Kind, n.Value); why != "" {
		return n, sign, why
	}
	if len([]rune(n.Text)) > maxNote || strings.ToValidUTF8(n.Text, "") != n.Text || strings.ContainsRune(n.Text, 0) {
		return n, sign, tErrNoteTx
	}
	if n.Text == "" && !n.Value.Known && n.Kind == "seen" {
		return n, sign, tErrNoteTx
	}
	if sign != "" && n.Value.Known {
		return n, sign, tErrSignValue
	}
	return n, sign, ""
}

// measures are what may be entered as a value of those notes that have one: over 0, or for
// drainage what feeding takes. Judgement: more than the largest pot of a garden weighs or bears.
func measures() map[string]measure {
	return map[string]measure{
		"weight":             {2000, "kg", true},
		"harvest":            {500, "kg", true},
		"drained":            {1000, "L", false},
		journal.DrainageKind: {feed.MostDrainageMS, "mS/cm", true},
	}
}

// measure is the most that a value may be, and whether the note is none without it.
type measure struct {
	most  float64
	unit  string
	needs bool
}

// checkValue says what is wrong with the value of a note of that kind.
func checkValue(kind string, v garden.Measured) string {
	m, has := measures()[kind]
	switch {
	case !has:
		return ""
	case !v.Known && m.needs:
		return sprintf(tErrNoValue, m.most, m.unit)
	case v.Known && kind == journal.DrainageKind:
		if err := feed.CheckDrainage(v.Value); err != nil {
			return capital(err.Error()) + "."
		}
	case v.Known && !(v.Value > 0 && v.Value <= m.most):
		return sprintf(tErrRange, v.Value, m.most, m.unit)
	}
	return ""
}

// signChoices are the signs a gardener can choose of, none where nobody answers.
func (p *Page) signChoices() []choice {
	if p.o.Observer == nil {
		return nil
	}
	var out []choice
	for _, s := range task.Signs() {
		out = append(out, choice{string(s.Sign), capital(s.Words)})
	}
	return out
}

// answerModel is what is said to an observation.
type answerModel struct {
	Name, Path, Saw, Text, LookAgain, Caveat string
	Causes                                   []task.Cause
	First, LeaveAlone, Plan                  []string
}

func (p *Page) answerModel(said feeding.Noted, ref zoneRef, st *runner.Status, v *visit, text string) answerModel {
	a := &said.Answer
	m := answerModel{
		Name: p.nameOf(st, ref.zone.ID), Path: potPath(ref.zone.ID), Saw: sprintf(tYouSaw, a.Words), Text: text,
		First: v.eachWords(a.First), LeaveAlone: v.eachWords(a.LeaveAlone), Caveat: v.words(a.Caveat),
	}
	for _, c := range a.Causes {
		c.Name, c.Support, c.Check, c.Evidence = v.words(c.Name), v.words(c.Support), v.words(c.Check), v.eachWords(c.Evidence)
		m.Causes = append(m.Causes, c)
	}
	for _, s := range said.Plan {
		days := sprintf(tPlanDay, s.Day)
		if s.ToDay > s.Day {
			days = sprintf(tPlanDays, s.Day, s.ToDay)
		}
		m.Plan = append(m.Plan, days+": "+v.words(s.Words))
	}
	if t := a.LookAgain; t != nil {
		m.LookAgain = sprintf(tLookAgain, t.Due.Format("Monday 2 January"), t.Until.Format("Monday 2 January"))
	}
	return m
}

// recordsSay is what a pot's records say of a cause, with the figures.
func recordsSay(c task.Cause) string {
	if len(c.Evidence) == 0 {
		return capital(c.Support) + "."
	}
	return capital(c.Support) + ": " + strings.Join(c.Evidence, "; ") + "."
}

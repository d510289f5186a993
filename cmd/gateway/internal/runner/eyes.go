package runner

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/control/feed"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"
	"fabricpot/control/task"
)

// eyesFor is how long a look says something of today.
const eyesFor = 10 * 24 * time.Hour

// Note keeps an observation and answers it from the pot's own records. It is what
// every form calls, the page's and the command's: Sign for a sign by itself,
// Answers for those of the weekly round, DrainMS for a reading, any of them
// together. The first of the signs is answered in the result, the others in Also.
func (b *FeedBook) Note(now garden.Moment, o Observation, who string) (feeding.Noted, error) {
	_, z, ok := b.g.Zone(o.Zone)
	if !ok {
		var names []string
		b.g.EachZone(func(_ *garden.Pot, z *garden.Zone) { names = append(names, string(z.ID)) })
		return feeding.Noted{}, fmt.Errorf("there is no pot %q; pots are %s", o.Zone, strings.Join(names, ", "))
	}
	eyes, err := o.eyes(now.Wall)
	if err != nil {
		return feeding.Noted{}, err
	}
	if o.DrainMS != nil {
		if err := feed.CheckDrainage(*o.DrainMS); err != nil {
			return feeding.Noted{}, err
		}
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	i := b.plan.Index(z.ID)
	w, recent, err := b.recent(i, z, now)
	if err != nil {
		return feeding.Noted{}, err
	}
	signs := eyes.Signs
	if len(signs) == 0 {
		signs = []task.Sign{task.AllWell}
	}
	seen := make([]task.Observation, len(signs))
	for k, sign := range signs {
		seen[k] = task.Observation{Zone: z.ID, Sign: sign, Photo: eyes.Photo}
		if k == 0 {
			seen[k].Text = o.Text
		}
		// Before anything of it is entered.
		if _, err := task.Respond(seen[k], task.Facts{}); err != nil {
			return feeding.Noted{}, err
		}
	}
	if o.DrainMS != nil {
		_ = b.plan.Drained(b.state, feeding.Drainage{Zone: z.ID, At: now.Wall, MS: *o.DrainMS}) // checked above
	}
	facts := b.plan.Facts(b.state, i, now, w)
	facts.Eyes = newest(recent, z.ID, eyes)
	var all []feeding.Noted
	for k, sign := range signs {
		facts.AlikeElsewhere = task.Alike(sign, b.others(i, recent))
		n, err := b.plan.Note(b.state, now, seen[k], facts)
		if err != nil {
			return feeding.Noted{}, err
		}
		all = append(all, n)
	}
	first := all[0]
	first.Also = all[1:]
	if b.j == nil {
		return first, nil
	}
	return first, b.keepEyes(now, o, eyes, all, who)
}

// eyes reads what was seen out of an observation.
func (o Observation) eyes(at time.Time) (task.Eyes, error) {
	answers := map[string]string{}
	for q, a := range o.Answers {
		answers[q] = a
	}
	if o.Photo != "" {
		answers[task.AskPhoto] = o.Photo
	}
	eyes, err := task.ReadEyes(o.Zone, at, answers)
	if err != nil {
		return eyes, err
	}
	if o.Sign != "" {
		sign, err := task.ParseSign(o.Sign)
		if err != nil {
			return eyes, err
		}
		if !slices.Contains(eyes.Signs, sign) {
			eyes.Signs = append([]task.Sign{sign}, eyes.Signs...)
		}
	}
	if eyes.Nothing() && o.DrainMS == nil {
		return eyes, errors.New("nothing to note: name a sign, answer a question of the round, or enter a reading with --drain-ec")
	}
	return eyes, nil
}

// recent reads the week of a zone and what eyes saw lately anywhere.
func (b *FeedBook) recent(i int, z *garden.Zone, now garden.Moment) (w feeding.Week, seen []task.Eyes, err error) {
	if b.j == nil {
		return w, nil, nil
	}
	var probes []garden.ProbeID
	for k := range z.Probes {
		probes = append(probes, z.Probes[k].ID)
	}
	if w, err = b.j.Week(z.ID, probes, b.plan.Capacity(i), now.Wall); err != nil {
		return w, nil, err
	}
	notes, err := b.j.Notes(now.Wall.Add(-eyesFor))
	return w, eyesOf(notes), err
}

// eyesOf gathers the notes of one moment and zone into what was seen then, oldest
// first.
func eyesOf(notes []journal.Note) []task.Eyes {
	var out []task.Eyes
	for _, n := range notes {
		q, ok := strings.CutPrefix(n.Kind, journal.EyesKind)
		if !ok {
			continue
		}
		k := slices.IndexFunc(out, func(e task.Eyes) bool { return e.Zone == n.Zone && e.At.Equal(n.At.Wall) })
		if k < 0 {
			out = append(out, task.Eyes{Zone: n.Zone, At: n.At.Wall})
			k = len(out) - 1
		}
		out[k].Take(task.EyesAnswer{Question: q, Word: n.Text, Number: n.Value})
	}
	return out
}

// newest is what was seen on a pot just now, with the latest earlier answers to
// what was not asked today.
func newest(recent []task.Eyes, z garden.ZoneID, now task.Eyes) task.Eyes {
	out := task.Eyes{Zone: z, At: now.At}
	for _, e := range append(slices.Clone(recent), now) {
		if e.Zone != z {
			continue
		}
		for _, a := range e.Answers() {
			if a.Question != task.SignAnswer {
				out.Take(a)
			}
		}
	}
	out.Signs = now.Signs
	return out
}

// others is the newest look at each zone that is fed like zone i.
func (b *FeedBook) others(i int, recent []task.Eyes) []task.Eyes {
	var out []task.Eyes
	for _, id := range b.plan.AlikeFed(i) {
		for k := len(recent) - 1; k >= 0; k-- {
			if recent[k].Zone == id {
				out = append(out, recent[k])
				break
			}
		}
	}
	return out
}

// keepEyes writes an observation: as data, and for people to read.
func (b *FeedBook) keepEyes(now garden.Moment, o Observation, eyes task.Eyes, all []feeding.Noted, who string) error {
	var errs []error
	for _, n := range all {
		errs = append(errs, b.addEvents(n.Events))
	}
	note := func(kind, text string, v garden.Measured) {
		errs = append(errs, b.j.AddNote(journal.Note{At: now, Zone: o.Zone, Kind: kind, Text: text, Value: v, Who: who}))
	}
	var signs, words []string
	for _, a := range eyes.Answers() {
		note(journal.EyesKind+a.Question, a.Word, a.Number)
		switch {
		case a.Question == task.SignAnswer:
			signs = append(signs, a.Word)
		case a.Number.Known:
			words = append(words, fmt.Sprintf("%s %.3g", a.Question, a.Number.Value))
		default:
			words = append(words, a.Question+" "+a.Word)
		}
	}
	if o.Text != "" {
		words = append(words, o.Text)
	}
	if words = append(signs, words...); len(words) > 0 {
		note("seen", strings.Join(words, ": "), garden.Measured{})
	}
	if o.DrainMS != nil {
		note(journal.DrainageKind, "", garden.Known(*o.DrainMS))
	}
	return errors.Join(errs...)
}

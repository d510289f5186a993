package hub

import (
	"context"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control"
	"fabricpot/control/alarm"
	"fabricpot/control/garden"
	"fabricpot/control/task"
	"fabricpot/mqtt/command"
	"fabricpot/mqtt/valve"
)

// Gateway is what may be asked of a running loop; a runner.Desk is one.
type Gateway interface {
	Status() *runner.Status
	Ask(ctx context.Context, a garden.Ask) error
	KeepShut(ctx context.Context, zone garden.ZoneID, span time.Duration, who string) error
	CloseAll(ctx context.Context, who string) (runner.CloseReport, error)
	Stop(ctx context.Context, zone garden.ZoneID) (bool, error)
	StopLine(ctx context.Context, line garden.LineID) (bool, error)
	Acknowledge(ctx context.Context, name, about, who string) error
	Rounds(ctx context.Context) (runner.Rounds, error)
	TaskDone(ctx context.Context, id string, r task.Report, who string) error
}

// who is how the journal names what came over the broker.
const who = "broker"

const (
	// newsEvery is how often the tie looks whether there is a new Status.
	newsEvery = 250 * time.Millisecond
	// askFor bounds how long a wish may wait for the loop, which may be in the
	// middle of a round with slow devices.
	askFor = 30 * time.Second
	// wishLives is for how long a refusal is still somebody's answer.
	wishLives = 6 * time.Hour
)

// Tie connects a running loop with its Remote: what the loop does is told, what
// is wished for is asked. It is a runner.Teller, for the loop's goroutine.
type Tie struct {
	r      *Remote
	teller teller
	about  About
	log    *slog.Logger

	mu     sync.Mutex
	totals map[garden.ZoneID]float64
	waits  map[garden.ZoneID][]waiting
}

// teller is what a Tie tells of; a Remote is one.
type teller interface {
	Refuse(w command.Wish, reason string)
	Delivered(d garden.Delivery)
	Happened(event, alarm, text string)
}

// waiting is a wish for water that the controller has not met yet.
type waiting struct {
	wish command.Wish
	at   time.Time
}

// NewTie ties the garden described by about to r. given is what the journal
// knows was given before.
func NewTie(r *Remote, about About, given []garden.PastDelivery) *Tie {
	t := &Tie{r: r, teller: r, about: about, log: r.log, totals: make(map[garden.ZoneID]float64), waits: make(map[garden.ZoneID][]waiting)}
	for i := range given {
		t.add(&given[i].Delivery)
	}
	return t
}

// Serve tells and asks until the context ends.
func (t *Tie) Serve(ctx context.Context, g Gateway) {
	var wg sync.WaitGroup
	wg.Go(func() { t.wishes(ctx, g) })
	wg.Go(func() { t.watch(ctx, g) })
	t.news(ctx, g)
	wg.Wait()
}

// news publishes each new Status.
func (t *Tie) news(ctx context.Context, g Gateway) {
	tick := time.NewTicker(newsEvery)
	defer tick.Stop()
	var last *runner.Status
	var rounds runner.Rounds
	for {
		ended := false
		select {
		case <-ctx.Done():
			ended = true // and every line closed: that is worth telling
		case <-tick.C:
		}
		st := g.Status()
		if st == nil || st == last {
			if ended {
				return
			}
			continue
		}
		last = st
		ask, cancel := context.WithTimeout(ctx, askFor)
		if r, err := g.Rounds(ask); err == nil {
			rounds = r // else what was known last: a garden without feeds has none
		}
		cancel()
		if err := t.r.Publish(t.snapshot(st, rounds)); err != nil {
			t.log.Warn("hub: publish", "error", err)
		}
	}
}

// watch ends the pulse of a remote line that can't be heard or does not obey.
// The line then counts as not closed, and the guard commands it closed until it
// confirms.
func (t *Tie) watch(ctx context.Context, g Gateway) {
	tick := time.NewTicker(newsEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		troubles := t.r.Troubles()
		if len(troubles) == 0 {
			continue
		}
		st := g.Status()
		if st == nil {
			continue
		}
		for _, l := range st.Lines {
			why := troubles[l.Line]
			if !l.Open || why == valve.NoTrouble {
				continue
			}
			ask, cancel := context.WithTimeout(ctx, askFor)
			if open, err := g.StopLine(ask, l.Line); err == nil && open {
				t.log.Warn("pulse ended: remote valve "+why.String(), "line", l.Line)
			}
			cancel()
		}
	}
}

// wishes asks for what was wished, one after the other.
func (t *Tie) wishes(ctx context.Context, g Gateway) {
	for {
		select {
		case <-ctx.Done():
			return
		case w := <-t.r.Wishes():
			ask, cancel := context.WithTimeout(ctx, askFor)
			if err := t.obey(ask, g, w); err != nil {
				t.teller.Refuse(w, err.Error())
			}
			cancel()
		}
	}
}

// obey hands a wish to the loop. An error is the reason why not.
func (t *Tie) obey(ctx context.Context, g Gateway, w command.Wish) error {
	w.Ask.Who = who + " " + w.ID
	switch w.Do {
	case command.CloseAll:
		rep, err := g.CloseAll(ctx, w.Ask.Who)
		if err == nil && len(rep.Unconfirmed) > 0 {
			err = fmt.Errorf("not confirmed closed: %v; shut their hand valves and look", rep.Unconfirmed)
		}
		return err
	case command.Stop:
		open, err := g.Stop(ctx, garden.ZoneID(w.Target))
		if err == nil && !open {
			err = fmt.Errorf("nothing is flowing to %s", w.Target)
		}
		return err
	case command.Acknowledge:
		if st := g.Status(); st != nil {
			for _, a := range st.Alarms {
				if alarmID(a.Name, a.About) == w.Target {
					return g.Acknowledge(ctx, a.Name, a.About, w.Ask.Who)
				}
			}
		}
		return fmt.Errorf("there is no alarm %q", w.Target)
	case command.Done:
		return g.TaskDone(ctx, w.Target, task.Report{}, w.Ask.Who)
	case command.KeepShut:
		// The end is on the link's clock; only the span means something to
		// the loop's.
		return g.KeepShut(ctx, w.Ask.Zone, w.Ask.Until.Since(t.r.clock()), w.Ask.Who)
	case command.Feed:
		return t.feed(ctx, g, w)
	case command.Water:
		if why := t.cannot(g.Status(), w.Ask.Zone); why != "" {
			return fmt.Errorf("%s", why)
		}
		t.wait(w)
	}
	if !w.ForController() {
		return fmt.Errorf("%q is not known", w.Do)
	}
	return g.Ask(ctx, w.Ask)
}

// feed hands a wish for feed on, where the zone is fed at all. Whether it is the
// time for it is decided as for any other feed; where a person gives it, a task
// comes of it.
func (t *Tie) feed(ctx context.Context, g Gateway, w command.Wish) error {
	rounds, err := g.Rounds(ctx)
	if err != nil {
		return err
	}
	for _, z := range rounds.Zones {
		if z.Zone == w.Ask.Zone && z.Weak {
			return fmt.Errorf("%s is fed with every watering: there is no feed of its own to bring forward", z.Zone)
		}
		if z.Zone == w.Ask.Zone && z.Fed {
			return g.Ask(ctx, w.Ask)
		}
	}
	return fmt.Errorf("%s has no feed plan in the garden file", w.Ask.Zone)
}

// cannot says at once why a zone can't be watered now, where that is known
// before the controller is asked.
func (t *Tie) cannot(st *runner.Status, zone garden.ZoneID) string {
	if st == nil {
		return "the gateway has only begun"
	}
	for i := range st.Zones {
		switch z := &st.Zones[i]; {
		case z.Zone != zone:
		case z.Line == "":
			return fmt.Sprintf("%s has no line: it is tended by hand", zone)
		case z.ShutUntil != nil:
			return fmt.Sprintf("%s is kept shut until %s", zone, z.ShutUntil.Format(time.RFC3339))
		}
	}
	return ""
}

func (t *Tie) wait(w command.Wish) {
	t.mu.Lock()
	defer t.mu.Unlock()
	now := time.Now()
	ws := t.waits[w.Ask.Zone]
	for len(ws) > 0 && (now.Sub(ws[0].at) > wishLives || len(ws) >= 16) {
		ws = ws[1:]
	}
	t.waits[w.Ask.Zone] = append(ws, waiting{w, now})
}

// met takes the zone's waiting wishes away.
func (t *Tie) met(zone garden.ZoneID) []waiting {
	t.mu.Lock()
	defer t.mu.Unlock()
	ws := t.waits[zone]
	delete(t.waits, zone)
	return ws
}

func (t *Tie) refuse(zone garden.ZoneID, reason string) {
	for _, w := range t.met(zone) {
		t.teller.Refuse(w.wish, reason)
	}
}

// add counts a delivery towards its zones' totals.
func (t *Tie) add(d *garden.Delivery) {
	if !garden.Finite(d.Litres) || d.Litres <= 0 {
		return
	}
	for i := range t.about.Garden.Lines {
		l := &t.about.Garden.Lines[i]
		if l.ID != d.Line {
			continue
		}
		for _, o := range l.Outlets {
			t.totals[o.Zone] += d.Litres * l.ShareOf(o.Zone)
		}
		return
	}
}

// Opened notes that a wish is met.
func (t *Tie) Opened(_ garden.Moment, o garden.Order) {
	if o.Kind == garden.ByHand {
		t.met(o.Zone)
	}
}

// Ended tells what a pulse came to.
func (t *Tie) Ended(d garden.Delivery) {
	t.mu.Lock()
	t.add(&d)
	t.mu.Unlock()
	t.teller.Delivered(d)
}

// Refused answers a wish a second time, unless it merely waits its turn.
func (t *Tie) Refused(_ garden.Moment, o garden.Order, r garden.Refusal) {
	switch {
	case o.Kind != garden.ByHand:
	case r.Cause == garden.LineBusy || r.Cause == garden.SupplyBusy || r.Cause == garden.TooSoon:
	default:
		t.refuse(o.Zone, r.Cause.String())
	}
}

// Noticed answers a wish that the controller gave up. One whose water had begun was met then;
// who waits now is a later one.
func (t *Tie) Noticed(e control.Event) {
	if e.Kind == control.Dropped && !e.Begun {
		t.refuse(e.Zone, e.String())
	}
}

// Alarmed tells a step of an alarm's life.
func (t *Tie) Alarmed(c alarm.Change) {
	switch c.Event {
	case alarm.Raised, alarm.Acknowledged, alarm.Cleared:
		text := c.Text
		if text == "" {
			text = c.Kind.Text()
		}
		t.teller.Happened(c.Event.String(), alarmID(c.Kind.String(), c.Subject), text)
	}
}

// Failed is for the log alone.
func (t *Tie) Failed(garden.Moment, string, error) {}

var _ runner.Teller = (*Tie)(nil)

package season

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fabricpot/control/alarm"
)

// Outcome is what came of one script.
type Outcome struct {
	Script Script `json:"script"`
	// Violations are broken invariants, with the time since the start.
	Violations []string `json:"violations,omitempty"`
	// Alarms that rose, and whether the expected one was among them in time.
	Alarms []SeenAlarm `json:"alarms,omitempty"`
	// Expected tells that an alarm was promised, DetectedS after how long it came, of
	// stray water after how long with every line closed (negative: it did not).
	Expected  bool    `json:"expected"`
	DetectedS float64 `json:"detected_s"`
	// Unjudged tells that water was asked of what is at fault and that the promise was
	// not put to the test all the same: its line never ran alone where one meter must
	// tell its flow from that of others, or the run or the fault ended first.
	Unjudged bool    `json:"unjudged,omitempty"`
	Orders   int     `json:"orders"`
	Feeds    int     `json:"feeds"`
	Hours    float64 `json:"hours"`
	Deaths   int     `json:"deaths"`
	// LostShare is the worst share of transpiration a watered pot lost.
	LostShare float64 `json:"lost_share"`
}

// SeenAlarm is an alarm that rose.
type SeenAlarm struct {
	AtH     float64 `json:"at_h"`
	Name    string  `json:"name"`
	Subject string  `json:"about,omitempty"`
	Text    string  `json:"text"`
	kind    alarm.Kind
	at      time.Duration
	// beside are those that stood when it rose and for besideFor after.
	beside []string
}

// besideFor is how long an alarm may outlast another that takes its place.
const besideFor = 5 * time.Minute

func (c *course) outcome() Outcome {
	o := Outcome{Script: *c.s, Violations: c.w.violations, Orders: c.w.orders, Feeds: c.w.feeds, Hours: c.b.Clock.Now().Hours(), Deaths: c.deaths}
	for _, a := range c.w.raised {
		seen := SeenAlarm{AtH: a.At.Mono.Hours(), Name: a.Kind.String(), Subject: a.Subject, Text: a.Text, kind: a.Kind, at: a.At.Mono}
		for _, other := range c.w.raised {
			about := alarm.Cause{Kind: other.Kind, Subject: other.Subject}
			if other.At.Mono <= a.At.Mono && about != (alarm.Cause{Kind: a.Kind, Subject: a.Subject}) && c.w.stood(about, other.At.Mono, a.At.Mono+besideFor) {
				seen.beside = append(seen.beside, about.String())
			}
		}
		o.Alarms = append(o.Alarms, seen)
	}
	for i := range c.s.Pots {
		t := c.b.Terrace.Totals(i)
		if t.PotentialTranspirationL > 0 && !c.thirsty(i) {
			o.LostShare = max(o.LostShare, 1-t.TranspiredL/t.PotentialTranspirationL)
		}
	}
	if c.s.Mode == Single && len(c.s.Mishaps) == 1 {
		c.detect(&o)
	}
	if c.s.Mode != Several && o.LostShare > mostLost {
		o.Violations = append(o.Violations, fmt.Sprintf("a pot that could be watered lost %.0f %% of what its plants would have drunk", 100*o.LostShare))
	}
	return o
}

// mostLost is the share of transpiration over which a plant counts as not kept.
const mostLost = 0.25

// thirsty tells that a pot could not be watered.
func (c *course) thirsty(pot int) bool {
	for _, m := range c.s.Mishaps {
		if d := mishapOf(m.Kind); d.withoutWater && (d.everyPot || m.Pot == pot) {
			return true
		}
	}
	return false
}

// detect looks for the alarm a single mishap must raise.
func (c *course) detect(o *Outcome) {
	m := c.s.Mishaps[0]
	d := mishapOf(m.Kind)
	if len(c.staysOpen) > 0 {
		// Its line stays open: what it gives without an order is told, and no order
		// of it lacks flow.
		d.alarms, d.flowing = []alarm.Kind{alarm.FlowWithoutOrder}, false
	}
	// A pump's alarm comes before its line's, and must name it.
	byPump := c.s.Pump && slices.Contains(d.alarms, alarm.OrderWithoutFlow)
	o.DetectedS = -1
	if d.within == 0 || d.needsMeter && !c.s.Meter {
		return
	}
	from, end := m.At, c.b.Clock.Now()
	if d.flowing {
		from = -1
		// One meter tells what runs in all: where others run too, whose water is
		// missing is a guess, and such an order does not begin the promise's time.
		byFlow := d.needsMeter && !d.everyPot && m.Kind != "meter dead" && d.alarms[0] != alarm.FlowWithoutOrder
		for i := range c.w.lines {
			if !d.everyPot && m.Kind != "meter dead" && i != m.Pot {
				continue
			}
			for _, at := range c.w.lines[i].asked {
				if at < m.At {
					continue
				}
				o.Unjudged = true
				if from >= 0 && at >= from || byFlow && !c.w.alone(i, at) {
					continue
				}
				from = at
			}
		}
		if from < 0 {
			return // nothing was asked of it, or never of it alone
		}
	}
	if d.shows != nil {
		if from = d.shows(c, m); from < 0 {
			return
		}
	}
	waited := func(until time.Duration) time.Duration { return until - from }
	if !d.flowing && d.alarms[0] == alarm.FlowWithoutOrder {
		// What runs while a line is open is no stray water yet, not even out of the
		// valve that will not close.
		waited = func(until time.Duration) time.Duration { return until - from - c.w.openFor(from, until) }
	}
	if waited(end) < d.within {
		return // the run ended first
	}
	if over := m.At + m.For; m.For > 0 && d.flowing && from < over && over < from+d.within {
		return // and here what was at fault
	}
	o.Unjudged = false
	o.Expected = true
	for _, a := range o.Alarms {
		named := byPump && a.kind == alarm.PumpDry && (d.everyPot || m.Kind == "meter dead" || strings.Contains(a.Text, string(c.g.Lines[m.Pot].ID)))
		if a.at < m.At || !named && !slices.Contains(d.alarms, a.kind) {
			continue
		}
		if after := waited(a.at).Seconds(); o.DetectedS < 0 || after < o.DetectedS {
			o.DetectedS = max(0, after)
		}
	}
	if o.DetectedS < 0 || o.DetectedS > d.within.Seconds() {
		o.Violations = append(o.Violations, fmt.Sprintf("%s: no alarm of its kind within %v (came after %.0f s)", m.Kind, d.within, o.DetectedS))
	}
}

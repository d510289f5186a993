package feed

import (
	"fmt"
	"time"

	"fabricpot/control/garden"
)

// DueWhy is the rule by which a feed is due.
type DueWhy uint8

const (
	// NotDue is the zero value.
	NotDue DueWhy = iota
	// ByInterval: the time between feeds of this stage has passed.
	ByInterval
	// ByStage: the plant entered a stage that is fed more often.
	ByStage
	// ByLedger: the root zone runs out of nitrogen.
	ByLedger
	// ByAsk: a person or hub asked for it.
	ByAsk
	// ByWatering: weak feed goes with every watering.
	ByWatering
)

func (w DueWhy) String() string {
	switch w {
	case ByInterval:
		return "interval"
	case ByStage:
		return "stage"
	case ByLedger:
		return "ledger"
	case ByAsk:
		return "asked for"
	case ByWatering:
		return "with every watering"
	}
	return "not due"
}

// ledgerLeadDays is how many days of nitrogen left make a feed due: the time a
// feed may wait for the next watering.
const ledgerLeadDays = 3

// Situation is what the question "is a feed due" is judged by.
type Situation struct {
	// Today is civil time.
	Today time.Time
	// Since is when the plants went in, or when tending began where that is
	// later or only that is known.
	Since time.Time
	// Last is the start of the last feed; zero means none yet. LastStage is the
	// stage it was given in.
	Last      time.Time
	LastStage Stage
	Stage     Stage
	Habit     Habit
	// IntervalDays is the gardener's own interval, absent for the crop's.
	IntervalDays garden.Measured
	// Starter tells that the mix began with a starter charge.
	Starter bool
	// NDaysLeft is the ledger's answer.
	NDaysLeft garden.Measured
	// Asked is set when a person or hub asked for a feed.
	Asked bool
}

// Due says whether and why a feed is due.
type Due struct {
	Now bool   `json:"due"`
	Why DueWhy `json:"-"`
	// DaysSince the last feed, or since the plants went in.
	DaysSince    float64 `json:"days_since"`
	First        bool    `json:"first"`
	IntervalDays float64 `json:"interval_days"`
	// OverdueDays is how far past its day it is, never negative.
	OverdueDays float64 `json:"overdue_days"`
	// Missed counts whole intervals that went by beyond the one now due. They
	// are caught up by this one feed and by no more.
	Missed    int             `json:"missed"`
	NDaysLeft garden.Measured `json:"-"`
	// NextOn is the day it falls due by interval.
	NextOn time.Time `json:"next_on"`
	Stage  Stage     `json:"-"`
}

// Words says why in a sentence.
func (d Due) Words() string {
	since := fmt.Sprintf("%.0f days after the last", d.DaysSince)
	if d.First {
		since = fmt.Sprintf("the first, %.0f days after planting", d.DaysSince)
	}
	switch d.Why {
	case ByInterval:
		return fmt.Sprintf("feed is due: %s, the interval is %.0f", since, d.IntervalDays)
	case ByStage:
		return fmt.Sprintf("feed is due: %s; %s plants are fed every %.0f days", since, d.Stage, d.IntervalDays)
	case ByLedger:
		return fmt.Sprintf("feed is due: nitrogen for %.1f days is left, %s", d.NDaysLeft.Value, since)
	case ByAsk:
		return fmt.Sprintf("feed was asked for, %s", since)
	}
	return fmt.Sprintf("no feed due before %s", d.NextOn.Format("2 January"))
}

const day = 24 * time.Hour

// A mix with a starter charge gets its first feed within the three to five weeks
// that a charge lasts (common practice, no source): at firstFeedDays, or where
// the ledger knows better, when it holds nitrogen for no more than starterLeft
// days, at lastFirstDays at the latest.
const (
	firstFeedDays = 21
	lastFirstDays = 35
	starterLeft   = 14
)

// MinIntervalDays and MaxIntervalDays bound the gardener's own interval.
const (
	MinIntervalDays = float64(MinGap / day)
	MaxIntervalDays = 90
)

// Assess decides whether a feed is due. It never answers yes within MinGap of
// the last one, whatever is asked or missing.
func Assess(s Situation) Due {
	interval := s.Habit.IntervalDays(s.Stage)
	own := s.IntervalDays.Known
	if own {
		interval = min(max(s.IntervalDays.Value, MinIntervalDays), MaxIntervalDays)
	}
	from, wait := s.Last, interval
	if s.Last.IsZero() {
		from = s.Since
		if s.Starter {
			first := float64(firstFeedDays)
			if s.NDaysLeft.Known {
				first = min(max(s.Today.Sub(from).Hours()/24+s.NDaysLeft.Value-starterLeft, firstFeedDays), lastFirstDays)
			}
			wait = max(interval, first)
		}
	}
	since := s.Today.Sub(from)
	d := Due{
		DaysSince: max(0, since.Hours()/24), First: s.Last.IsZero(), IntervalDays: interval,
		NDaysLeft: s.NDaysLeft, Stage: s.Stage, NextOn: from.Add(time.Duration(wait * float64(day))),
	}
	// A clock that went back, or a feed minutes ago: neither is a reason.
	if since < MinGap {
		return d
	}
	past := d.DaysSince - wait
	switch {
	case past >= 0:
		d.Why = ByInterval
		if !own && !d.First && d.DaysSince < s.Habit.IntervalDays(s.LastStage) && s.LastStage != s.Stage {
			d.Why = ByStage
		}
		d.OverdueDays = past
		d.Missed = int(past / interval)
	case s.NDaysLeft.Known && s.NDaysLeft.Value < ledgerLeadDays:
		d.Why = ByLedger
	case s.Asked:
		d.Why = ByAsk
	}
	d.Now = d.Why != NotDue
	return d
}

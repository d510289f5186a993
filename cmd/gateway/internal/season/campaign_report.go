package season

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"text/tabwriter"
)

// Campaign is what a campaign came to. The JSON names are a contract.
type Campaign struct {
	Seeds int     `json:"seeds"`
	Runs  int     `json:"runs"`
	Hours float64 `json:"hours_simulated"`
	// Deaths are kills of the gateway, Orders the openings asked for, Feeds those
	// begun.
	Deaths int `json:"deaths"`
	Orders int `json:"orders"`
	Feeds  int `json:"feeds"`
	// CleanDays are days in which nothing was wrong, FalseAlarms the alarms that
	// rose in them, by name.
	CleanDays   int            `json:"clean_days"`
	FalseAlarms map[string]int `json:"false_alarms"`
	// False are the same one by one, with the run each can be seen in.
	False   []FalseAlarm   `json:"false,omitempty"`
	Mishaps []MishapResult `json:"mishaps"`
	// Failed are the runs that broke an invariant, shortened as far as they
	// still do.
	Failed []Outcome `json:"failed"`
}

// FalseAlarm is an alarm that rose in a run in which nothing was wrong.
type FalseAlarm struct {
	Seed uint64 `json:"seed"`
	Days int    `json:"days"`
	SeenAlarm
}

// MishapResult is a kind's promise and what came of it.
type MishapResult struct {
	Kind   MishapKind `json:"kind"`
	Alarms []string   `json:"alarms"`
	// WithinS is the promised time, 0 where none is promised.
	WithinS float64 `json:"within_s"`
	// Runs had it alone; Judged of them were long enough and had what it takes;
	// Unjudged of the others were asked for water all the same; Detected raised the
	// alarm. Median and worst are seconds.
	Runs      int     `json:"runs"`
	Judged    int     `json:"judged"`
	Unjudged  int     `json:"unjudged"`
	Detected  int     `json:"detected"`
	MedianS   float64 `json:"median_s"`
	WorstS    float64 `json:"worst_s"`
	LostShare float64 `json:"worst_lost_share"`
	Safe      string  `json:"safe_behaviour"`
	Recovery  string  `json:"recovery"`
	took      []float64
}

// How long the runs of each mode last.
const (
	cleanDays   = 10
	singleDays  = 5
	severalDays = 6
)

// RunCampaign plays, for each seed, one clean script, one with several mishaps
// and restarts, and one with each kind of mishap alone in turn, perSeed kinds a
// seed (0: all), those of a start whenever all others had their turn. each, which may be nil, is called after every run. One
// goroutine; the same arguments give the same result to the last byte.
func RunCampaign(ctx context.Context, first uint64, seeds, perSeed int, each func()) (*Campaign, error) {
	c := &Campaign{Seeds: seeds, FalseAlarms: map[string]int{}}
	for _, d := range mishaps {
		r := MishapResult{Kind: d.kind, WithinS: d.within.Seconds(), Safe: d.Safe, Recovery: d.Recovery}
		for _, a := range d.alarms {
			r.Alarms = append(r.Alarms, a.String())
		}
		c.Mishaps = append(c.Mishaps, r)
	}
	if perSeed <= 0 {
		perSeed = len(drawn)
	}
	next := 0
	for n := range uint64(max(0, seeds)) {
		seed := first + n
		scripts := []Script{NewScript(seed, Clean, cleanDays, ""), NewScript(seed, Several, severalDays, "")}
		for range perSeed {
			scripts = append(scripts, NewScript(seed, Single, singleDays, drawn[next%len(drawn)].kind))
			if next++; next%len(drawn) == 0 {
				for _, d := range atStart {
					scripts = append(scripts, NewScript(seed, Single, singleDays, d.kind))
				}
			}
		}
		for _, s := range scripts {
			if err := ctx.Err(); err != nil {
				return c, err
			}
			o, err := Play(s)
			if err != nil {
				return c, err
			}
			c.count(o)
			if each != nil {
				each()
			}
		}
	}
	for i := range c.Mishaps {
		r := &c.Mishaps[i]
		slices.Sort(r.took)
		if n := len(r.took); n > 0 {
			r.MedianS, r.WorstS = r.took[n/2], r.took[n-1]
		}
	}
	return c, nil
}

// RunClean plays for each seed one script in which nothing goes wrong, of that
// many days, and counts every alarm that rises as a false one. Seasons are of
// their own: chunks of seeds add up to the same as all at once.
func RunClean(ctx context.Context, first uint64, seeds, days int, each func()) (*Campaign, error) {
	c := &Campaign{Seeds: seeds, FalseAlarms: map[string]int{}}
	for n := range uint64(max(0, seeds)) {
		if err := ctx.Err(); err != nil {
			return c, err
		}
		o, err := Play(NewScript(first+n, Clean, days, ""))
		if err != nil {
			return c, err
		}
		c.count(o)
		if each != nil {
			each()
		}
	}
	return c, nil
}

// CampaignRuns is how many runs a campaign has.
func CampaignRuns(seeds, perSeed int) int {
	if perSeed <= 0 {
		perSeed = len(drawn)
	}
	return seeds*(2+perSeed) + seeds*perSeed/len(drawn)*len(atStart)
}

func (c *Campaign) count(o Outcome) {
	c.Runs++
	c.Hours += o.Hours
	c.Deaths += o.Deaths
	c.Orders += o.Orders
	c.Feeds += o.Feeds
	switch o.Script.Mode {
	case Clean:
		c.CleanDays += o.Script.Days
		for _, a := range o.Alarms {
			c.FalseAlarms[a.Name]++
			c.False = append(c.False, FalseAlarm{Seed: o.Script.Seed, Days: o.Script.Days, SeenAlarm: a})
		}
	case Single:
		i := slices.IndexFunc(c.Mishaps, func(r MishapResult) bool { return r.Kind == o.Script.Mishaps[0].Kind })
		r := &c.Mishaps[i]
		r.Runs++
		r.LostShare = max(r.LostShare, o.LostShare)
		if o.Unjudged {
			r.Unjudged++
		}
		if o.Expected {
			r.Judged++
			if o.DetectedS >= 0 {
				r.Detected++
				r.took = append(r.took, o.DetectedS)
			}
		}
	}
	if len(o.Violations) > 0 {
		c.Failed = append(c.Failed, Shrink(o, Play))
	}
}

// FalseRate is false alarms per clean season of 153 days.
func (c *Campaign) FalseRate() float64 {
	n := 0
	for _, k := range c.FalseAlarms {
		n += k
	}
	if c.CleanDays == 0 {
		return 0
	}
	return float64(n) / float64(c.CleanDays) * 153
}

// Shrink leaves mishaps, restarts and days out of a script that broke an
// invariant as long as it still breaks one, and returns the shortest found.
func Shrink(o Outcome, play func(Script) (Outcome, error)) Outcome {
	const tries = 40
	left := tries
	still := func(s Script) bool {
		if left--; left < 0 {
			return false
		}
		got, err := play(s)
		if err != nil || len(got.Violations) == 0 {
			return false
		}
		o = got
		return true
	}
	for again := true; again && left > 0; {
		again = false
		for i := range o.Script.Restarts {
			s := o.Script
			s.Restarts = slices.Delete(slices.Clone(s.Restarts), i, i+1)
			if still(s) {
				again = true
				break
			}
		}
		for i := range o.Script.Mishaps {
			s := o.Script
			if s.Mode == Single {
				break
			}
			s.Mishaps = slices.Delete(slices.Clone(s.Mishaps), i, i+1)
			if still(s) {
				again = true
				break
			}
		}
		if s := o.Script; s.Mode != Single && s.Days > 2 {
			s.Days--
			again = still(s) || again
		}
	}
	return o
}

// WriteJSON writes the campaign as one object.
func (c *Campaign) WriteJSON(w io.Writer) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	return e.Encode(c)
}

// WriteTable writes the campaign for people to read.
func (c *Campaign) WriteTable(w io.Writer) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	if len(c.Mishaps) > 0 {
		fmt.Fprintln(t, "what goes wrong\talarm\twithin\truns\tjudged\tnot judged\tseen\tmedian s\tworst s\tmeanwhile\tends")
	}
	for _, r := range c.Mishaps {
		within, alarms := "none", "none promised"
		if r.WithinS > 0 {
			within = fmt.Sprintf("%.0f min", r.WithinS/60)
			alarms = r.Alarms[0]
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%d\t%d\t%d\t%d\t%.0f\t%.0f\t%s\t%s\n", r.Kind, alarms, within, r.Runs, r.Judged, r.Unjudged, r.Detected, r.MedianS, r.WorstS, r.Safe, r.Recovery)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Fprintf(w, "\n%d runs, %.0f hours, %d openings, %d feeds, %d deaths of the gateway; %d runs broke an invariant\n",
		c.Runs, c.Hours, c.Orders, c.Feeds, c.Deaths, len(c.Failed))
	names := make([]string, 0, len(c.FalseAlarms))
	for n := range c.FalseAlarms {
		names = append(names, n)
	}
	slices.SortFunc(names, func(a, b string) int { return cmp.Compare(a, b) })
	fmt.Fprintf(w, "false alarms in %d clean days: %.2f per season of 153 days\n", c.CleanDays, c.FalseRate())
	for _, n := range names {
		fmt.Fprintf(w, "  %s: %d\n", n, c.FalseAlarms[n])
	}
	for i, a := range c.False {
		if i == 20 {
			fmt.Fprintf(w, "  and %d more\n", len(c.False)-i)
			break
		}
		fmt.Fprintf(w, "  seed %d of %d days, after %.1f h: %s %s: %s\n", a.Seed, a.Days, a.AtH, a.Name, a.Subject, a.Text)
	}
	for _, f := range c.Failed {
		script, err := json.Marshal(f.Script)
		if err != nil {
			return err
		}
		fmt.Fprintf(w, "\nseed %d: %s\n", f.Script.Seed, script)
		for _, v := range f.Violations {
			fmt.Fprintf(w, "  %s\n", v)
		}
	}
	return nil
}

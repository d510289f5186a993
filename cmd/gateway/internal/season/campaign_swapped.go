package season

import (
	"fmt"
	"strings"
	"time"

	"fabricpot/control/alarm"
)

const (
	// loneRest is for how long before and after a watering no other line may have run
	// for its water to be told from theirs, with a round to spare, loneMost how long
	// it may take, and loneLeast what its pot must get, as a share of its volume, for
	// a probe in it to answer for sure. loneSoaked is how long after water a pot may be
	// so wet that a probe in it can't be read.
	loneRest   = 75 * time.Minute
	loneMost   = 6 * time.Hour
	loneLeast  = 0.05
	loneSoaked = 12 * time.Hour
	// swapDays is how long two probes alone confused are watched: most pots are
	// watered every second or third day.
	swapDays = 8
)

// lone is a watering of one line while no other ran and no rain fell.
type lone struct {
	from, to time.Duration
	enough   bool
}

// swapShows is when two confused probes have shown that they are: the end of the
// second watering in a row that one of their two lines gave alone, on days without
// rain. It is negative where that never was: in pots that are hardly watered, or
// always together, or while it rains, nothing tells whose water a probe answers to.
func (c *course) swapShows(m Mishap) time.Duration {
	var all []lone
	for _, i := range []int{m.Pot, (m.Pot + 1) % len(c.s.Pots)} {
		all = append(all, c.lones(i)...)
	}
	shows := time.Duration(-1)
	for i := range all {
		a := &all[i]
		if a.from < m.At+time.Hour || !a.enough {
			continue
		}
		// The one before it, if it is enough as well.
		var before *lone
		for k := range all {
			if b := &all[k]; b.from < a.from && (before == nil || b.from > before.from) {
				before = b
			}
		}
		if before != nil && before.from >= m.At+time.Hour && before.enough && (shows < 0 || a.to < shows) {
			shows = a.to
		}
	}
	if shows >= 0 || c.s.Weather == "rain" {
		return shows // while it rains every day nothing is promised
	}
	// Told by what ran beside others, both pots are watered without the two from then on,
	// and may not be watered alone again.
	for _, a := range c.w.raised {
		if a.Kind == alarm.ProbeDoubtful && a.At.Mono >= m.At && strings.Contains(a.Text, "plugs are confused") && c.mixed(m, a.Subject) {
			return a.At.Mono
		}
	}
	return shows
}

// mixed tells that a probe is one of the two that a mishap confused.
func (c *course) mixed(m Mishap, probe string) bool {
	return probe == fmt.Sprintf("p%d-n0", m.Pot) || probe == fmt.Sprintf("p%d-n0", (m.Pot+1)%len(c.s.Pots))
}

// lones are a line's waterings alone, pulses that may be one to whoever looks an hour
// after each joined.
func (c *course) lones(line int) (out []lone) {
	l := &c.w.lines[line]
	for n := 0; n < len(l.spans); {
		soaked := n > 0 && l.spans[n].from-l.spans[n-1].to < loneSoaked
		w, open := lone{from: l.spans[n].from}, time.Duration(0)
		for n < len(l.spans) && (open == 0 || l.spans[n].from-w.to < loneRest) {
			w.to, open = l.spans[n].to, open+l.spans[n].to-l.spans[n].from
			n++
		}
		if c.ranBeside(line, w.from, w.to) {
			continue // it says nothing, and takes nothing back
		}
		w.enough = !soaked && w.to-w.from <= loneMost && l.l.FlowLPH()*open.Hours() >= loneLeast*c.s.Pots[line].Litres &&
			!c.rained(w.from-loneRest, w.to+loneRest) && !c.ranBeside(line, w.from-loneRest, w.to+loneRest)
		out = append(out, w)
	}
	return out
}

// rained tells that a day between two times has rain.
func (c *course) rained(from, to time.Duration) bool {
	for day := max(0, int(from/(24*time.Hour))); day <= int(to/(24*time.Hour)) && day < len(c.opts.Weather); day++ {
		if c.opts.Weather[day].RainMM.Or(0) > 0 {
			return true
		}
	}
	return false
}

// ranBeside tells that another line gave water between two times.
func (c *course) ranBeside(line int, from, to time.Duration) bool {
	for i := range c.w.lines {
		if i == line {
			continue
		}
		for _, o := range c.w.lines[i].spans {
			if o.from < to && o.to > from {
				return true
			}
		}
	}
	return false
}

package season

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fabricpot/sim/policy"
)

// TrialSet is what one command tries: cases and seeds.
type TrialSet struct {
	Name  string
	Cases []TrialCase
	Seeds int
	// Policies narrows who is tried, by name; none means all. The ideal is always
	// one of them, since the others are measured by it.
	Policies []string
}

// Only keeps the cases whose name has one of the words in it, whatever its case;
// it fails where one of the words is in none.
func (s TrialSet) Only(words []string) (TrialSet, error) {
	var keep []TrialCase
	for _, w := range words {
		if strings.TrimSpace(w) == "" {
			return s, fmt.Errorf("an empty word is in every name: expected a part of the name of a case, several of them with a comma between")
		}
	}
	used := make([]bool, len(words))
	for _, c := range s.Cases {
		hit := false
		for i, w := range words {
			if strings.Contains(strings.ToLower(c.Name), strings.ToLower(strings.TrimSpace(w))) {
				hit, used[i] = true, true
			}
		}
		if hit {
			keep = append(keep, c)
		}
	}
	if i := slices.Index(used, false); i >= 0 {
		names := make([]string, len(s.Cases))
		for k, c := range s.Cases {
			names[k] = c.Name
		}
		return s, fmt.Errorf("no case of the %s trial has %q in its name: expected a part of one of %s", s.Name, words[i], strings.Join(names, "; "))
	}
	s.Cases = keep
	return s, nil
}

// Names of the two gardens and of the case all others are compared with.
const (
	onTerrace = "terrace"
	baseCase  = "Seattle 2014"
)

// QuickTrial is enough to see who is better: two summers, the heat spell and
// every fault, on few seeds.
func QuickTrial() TrialSet {
	const tick = 5 * time.Minute
	set := TrialSet{Name: "quick", Seeds: 5}
	base := TrialCase{Name: baseCase, Group: groupSeasons, Garden: onTerrace, Weather: "seattle", From: "2014-06-01", Days: 92, Tick: tick, Curve: true}
	york := base
	york.Name, york.Weather, york.From, york.Curve = "New York 2012", "new-york", "2012-06-01", false
	fed := base
	fed.Name, fed.Group, fed.Curve, fed.Fed = "fed, "+base.Name, groupFed, false, true
	set.Cases = append(set.Cases, base, york, heatCase(tick), fed)
	set.Cases = append(set.Cases, washedCases(set.Cases)...)
	short := base
	short.Curve, short.From, short.Days = false, "2014-07-01", 35
	short.Name, short.Group = "no fault, five weeks", groupFaults
	set.Cases = append(set.Cases, short)
	set.Cases = append(set.Cases, faultCases(short)...)
	return set
}

func heatCase(tick time.Duration) TrialCase {
	return TrialCase{Name: "heat spell (synthetic)", Group: groupSeasons, Garden: "heat spell", Weather: "heat-spell", From: "2025-07-06", Days: 14, Tick: tick}
}

// washedOut ends the name of a season that is had again so.
const washedOut = ", " + groupWashed

// washedCases are the seasons again, with what drains that salts ask for: no rival does
// anything else there.
func washedCases(cases []TrialCase) []TrialCase {
	var out []TrialCase
	for _, c := range cases {
		if c.Group == groupSeasons {
			c.Name, c.Group, c.ByNeed, c.Curve = c.Name+washedOut, groupWashed, true, false
			out = append(out, c)
		}
	}
	return out
}

func faultCases(base TrialCase) []TrialCase {
	var out []TrialCase
	for _, f := range faults() {
		c := base
		c.Name, c.Group, c.Fault, c.Curve = string(f.Kind), groupFaults, f, false
		out = append(out, c)
	}
	return out
}

// FullTrial is the evidence: four summers of two cities from May to September,
// pots of 20 to 400 L, coarse and fine mixes, worse probes, uneven emitters,
// leaching, and every fault, on eight seeds.
func FullTrial() TrialSet {
	set := TrialSet{Name: "full", Seeds: 8}
	var base TrialCase
	for _, city := range []struct{ name, file string }{{"Seattle", "seattle"}, {"New York", "new-york"}} {
		for year := 2012; year <= 2015; year++ {
			c := TrialCase{Name: fmt.Sprint(city.name, " ", year), Group: groupSeasons, Garden: onTerrace, Weather: city.file,
				From: fmt.Sprint(year, "-05-01"), Days: 153}
			if c.Name == baseCase {
				c.Curve = true
				base = c
			}
			set.Cases = append(set.Cases, c)
		}
	}
	set.Cases = append(set.Cases, heatCase(0))
	set.Cases = append(set.Cases, washedCases(set.Cases)...)
	vary := func(group, name string, change func(*TrialCase)) {
		c := base
		c.Group, c.Name, c.Curve = group, name, false
		change(&c)
		set.Cases = append(set.Cases, c)
	}
	for _, size := range []string{"small pots", "large pots", "large pots" + twoProbes} {
		vary("sizes", size, func(c *TrialCase) { c.Garden = size })
	}
	for _, mix := range []string{"coarse", "fine"} {
		vary("mixes", mix+" mix", func(c *TrialCase) { c.Mix = mix })
	}
	vary("probes", "noisy probes", func(c *TrialCase) { c.NoiseV = 0.015 })
	vary("probes", "probes with offsets", func(c *TrialCase) { c.OffsetV, c.Gain = 0.06, 0.02 })
	vary("probes", "drifting probes", func(c *TrialCase) { c.DriftVPH = 3e-5 })
	for _, du := range []float64{0.65, 0.80, 0.95} {
		vary("emitters", fmt.Sprintf("uniformity %.2f", du), func(c *TrialCase) { c.DU = du })
	}
	vary("leaching", "leaching 0.15", func(c *TrialCase) { c.Leaching = 0.15 })
	vary(groupFed, "fed, Seattle 2014", func(c *TrialCase) { c.Fed = true })
	vary(groupFed, "fed, New York 2012", func(c *TrialCase) { c.Fed, c.Weather, c.From = true, "new-york", "2012-05-01" })
	set.Cases = append(set.Cases, faultCases(base)...)
	return set
}

// trialJob is one run to do.
type trialJob struct {
	c    TrialCase
	name string
	seed uint64
}

// jobs lists every run: the slow ones first within a case and seed, so that
// cores finish together.
func (s TrialSet) jobs() []trialJob {
	var out []trialJob
	for _, c := range s.Cases {
		for seed := uint64(1); seed <= uint64(s.Seeds); seed++ {
			names := policy.Names()
			for i := len(names) - 1; i >= 0; i-- {
				if c.touches(names[i]) && s.tries(names[i]) {
					out = append(out, trialJob{c, names[i], seed})
				}
			}
		}
	}
	return out
}

func (s TrialSet) tries(name string) bool {
	return len(s.Policies) == 0 || name == policy.Ideal || slices.Contains(s.Policies, name)
}

// Runs is how many runs the set takes.
func (s TrialSet) Runs() int { return len(s.jobs()) }

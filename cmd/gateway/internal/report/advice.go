package report

import (
	"fmt"
	"math"

	"fabricpot/control/garden"
)

// From what a figure on the report makes a piece of advice. All are common
// practice or judgement, no source: the report shows each figure so that the
// gardener can judge it too.
const (
	// fillings a day on the thirstiest tenth of days: more is a pot too small.
	manyFillings = 2.0
	// underLong is the share of time under the refill point that a zone with a
	// line should stay below, underHand the same where a person waters.
	underLong, underHand = 0.10, 0.25
	// overLong is the share of time over capacity; littleAir the air space at
	// capacity under which roots lack air.
	overLong, littleAir = 0.15, 0.10
	// weakMeter and weakRise are the shares of the nominal flow and of the
	// expected rise under which emitters are looked at; enoughChecks waterings
	// are needed for the rise.
	weakMeter, strongMeter, weakRise = 0.85, 1.20, 0.6
	enoughChecks                     = 5
	// lateGap is the longest gap between feeds over the usual or planned one.
	lateGap = 1.6
	// badProbe is the share of a probe's readings that may be bad.
	badProbe = 0.05
	// often is how many refusals of one kind are worth a word.
	often = 10
)

// advise says what to change, each with its figure.
func advise(z *Zone) []Advice {
	var out []Advice
	add := func(change, figure string, args ...any) {
		out = append(out, Advice{change, fmt.Sprintf(figure, args...)})
	}
	if z.Stress.Known < 24 {
		add("Too little was recorded to say anything.", "%.0f h of samples", z.Stress.Known)
		return out
	}
	z.adviseSize(add)
	z.adviseWet(add)
	z.adviseFlow(add)
	z.adviseFeed(add)
	z.adviseProbes(add)
	for _, c := range z.Refused {
		if c.Times < often {
			break
		}
		switch c.What {
		case garden.CapReached.String():
			add("Give its line a higher limit for the day, or find out why it takes so much.", "%d orders were refused because %s", c.Times, c.What)
		case garden.OutsideHours.String():
			add("Allow watering at more hours.", "%d orders were refused: %s", c.Times, c.What)
		case garden.TankEmpty.String():
			add("Fill the tank more often, or get a larger one.", "%d orders were refused because %s", c.Times, c.What)
		}
	}
	if len(out) == 0 {
		add("Keep it as it is.", "under its refill point for %s of the time, over capacity for %s", percent(z.Stress.Share(z.Stress.UnderRefill)), percent(z.Stress.Share(z.Stress.OverCapacity)))
	}
	return out
}

type adder func(change, figure string, args ...any)

func (z *Zone) adviseSize(add adder) {
	s, band := z.Stress, z.BandL()
	if fillings := z.Water.ThirstyL / math.Max(band, 0.01); band > 0 && fillings >= manyFillings {
		add(fmt.Sprintf("Pot too small: plant it in about %.0f L, or one plant less.", z.VolumeL*fillings/manyFillings*1.2),
			"on its thirstiest days it took %.1f L, and between full and refill point it holds %.1f L: %.1f fillings a day", z.Water.ThirstyL, band, fillings)
	}
	under := s.Share(s.UnderRefill)
	switch {
	case z.HandTended && under > underHand:
		add("Water it more often, give it a larger pot, or a line.", "under its refill point for %s of the time, %.0f h at the longest", percent(under), s.LongestUnder)
	case !z.HandTended && under > underLong:
		add("It waited too long for water: look at its line's hours, limit and flow.", "under its refill point for %s of the time, %.0f h at the longest", percent(under), s.LongestUnder)
	}
	if s.UnderLimit > 0 {
		add("It came to the end of the water that roots can reach: see that this does not happen again.", "%.0f h under %s water, its lower limit", s.UnderLimit, percent(z.Limit))
	}
}

func (z *Zone) adviseWet(add adder) {
	over := z.Stress.Share(z.Stress.OverCapacity)
	switch {
	case over > overLong:
		add("Mix too wet: use a coarser one, see that the floor drains, and anchor the probe in the drained pot.", "over capacity for %s of the time, %.0f h", percent(over), z.Stress.OverCapacity)
	case z.AirSpace > 0 && z.AirSpace < littleAir:
		add("Mix too wet: use a coarser one or a deeper pot.", "%s air is left in it when it is full, under %s", percent(z.AirSpace), percent(littleAir))
	}
}

func (z *Zone) adviseFlow(add adder) {
	f := z.Flow
	if m := f.Metered; m.Known && m.Value < weakMeter {
		add("Emitters weak: clean or change them, and the filter.", "the meter counted %s of what they should give", percent(m.Value))
	} else if m.Known && m.Value > strongMeter {
		add("The line gives more than it should: look for a leak or a lost emitter.", "the meter counted %s of what they should give", percent(m.Value))
	} else if f.Arrived.Known && f.Checked >= enoughChecks && f.Arrived.Value < weakRise {
		add("Emitter weak, or water running down beside the mix: catch its water in a cup for ten minutes, and look below the pot.",
			"of %d waterings that it had room for, the middle one raised its water by %s of what was given", f.Checked, percent(f.Arrived.Value))
	}
	if f.AtDeadline > 0 && f.AtDeadline*20 > z.Water.Pulses {
		add("Its line runs into its longest open time: measure the flow again.", "%d of %d pulses were ended by their deadline", f.AtDeadline, z.Water.Pulses)
	}
}

func (z *Zone) adviseFeed(add adder) {
	f := z.Feed
	if !f.Planned {
		return
	}
	if f.Late > 0 {
		add("Feed late: put feeds on a day you are there, or have a line give them.", "%d of its feeds were given more than a day after they were due, %.1f days on average", f.Late, f.LateDays)
		return
	}
	usual := f.Interval.Or(f.Usual.Or(0))
	if f.Longest.Known && usual > 0 && f.Longest.Value > lateGap*usual && f.Times >= 4 {
		add("Feed late: once it waited much longer than usual.", "%.0f days between two feeds, %.0f are usual", f.Longest.Value, usual)
	}
}

func (z *Zone) adviseProbes(add adder) {
	for _, p := range z.Probes {
		if n := p.Good + p.Uncertain + p.Bad; n > 0 && float64(p.Bad) > badProbe*float64(n) {
			add(fmt.Sprintf("Look at probe %s, its cable and its place.", p.Probe), "%s of its readings were bad, most often: %s", percent(float64(p.Bad)/float64(n)), p.Fault)
		}
	}
}

// percent writes a share; under a whole percent with a digit.
func percent(v float64) string {
	digits := 0
	if v > 0 && v < 0.1 {
		digits = 1
	}
	return fmt.Sprintf("%.*f %%", digits, 100*v)
}

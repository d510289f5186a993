package task

import (
	"fmt"

	"fabricpot/control/garden"
)

// Facts are a zone's own records, as far as there are any. Nothing absent is
// taken for good or bad.
type Facts struct {
	// DaysSinceFeed is absent where the zone was never fed.
	DaysSinceFeed     garden.Measured
	DaysSincePlanting garden.Measured
	NDaysLeft         garden.Measured
	// Over the last seven days: how often the zone went under its refill point,
	// how long it was saturated, and the mix's extremes.
	Dips           garden.Measured
	SaturatedHours garden.Measured
	HottestC       garden.Measured
	ColdestC       garden.Measured
	// Water, Refill and Capacity are water fractions now.
	Water, Refill, Capacity garden.Measured
	DrainMS, FeedMS         garden.Measured
	// AlikeElsewhere: plants under the same feed look the same (1) or not (0).
	AlikeElsewhere garden.Measured
	// SaltMS is the conductivity of the pot's water by the account of salts.
	SaltMS garden.Measured
	// Eyes is the newest look at this pot: what was answered with the sign, or on
	// the last round.
	Eyes Eyes
}

// Where the records begin to speak for a cause. Judgement around common
// practice: a mix is spent in three to five weeks and neglect shows by week six
// or seven; soilless mixes suffer without air for more than some hours.
const (
	longSinceFeed   = 21.0
	wetHours        = 6.0
	coldRootsC      = 14.0
	hotRootsC       = 35.0
	saltyDrainage   = 4.6 // from memory: upper end for heavy feeders
	saltyOverFeed   = 1.0 // from memory: 1.0 to 1.5 over the feed
	shortOfNitrogen = 3.0
	// plentyOfNitrogen, days by the ledger: judgement.
	plentyOfNitrogen = 14.0
)

// Support is what the records say about a cause.
type Support uint8

const (
	// NotKnown: the records are silent.
	NotKnown Support = iota
	// Against: they speak against it.
	Against
	// For: they speak for it.
	For
)

func (s Support) String() string {
	switch s {
	case For:
		return "the records speak for it"
	case Against:
		return "the records speak against it"
	}
	return "the records don't tell"
}

// verdict is a support with the figures behind it.
type verdict struct {
	support  Support
	evidence []string
}

func (v *verdict) judge(yes bool, format string, a ...any) {
	if yes {
		v.support = For
	} else if v.support == NotKnown {
		v.support = Against
	}
	v.evidence = append(v.evidence, fmt.Sprintf(format, a...))
}

func (f Facts) tooWet() (v verdict) {
	if f.SaturatedHours.Known {
		v.judge(f.SaturatedHours.Value > wetHours, "saturated for %.0f h in the last 7 days", f.SaturatedHours.Value)
	}
	if f.Water.Known && f.Capacity.Known {
		v.judge(f.Water.Value >= f.Capacity.Value, "holds %.0f %% water now, %.0f %% is full", 100*f.Water.Value, 100*f.Capacity.Value)
	}
	if f.Eyes.Words[AskDrainage] == standsWord {
		v.judge(true, "water stood on top at the last look")
	}
	return v
}

func (f Facts) tooDry() (v verdict) {
	if f.Dips.Known {
		v.judge(f.Dips.Value > 0, "under its refill point %s in the last 7 days", f.dips())
	}
	if f.Water.Known && f.Refill.Known {
		v.judge(f.Water.Value < f.Refill.Value, "holds %.0f %% water now, the refill point is %.0f %%", 100*f.Water.Value, 100*f.Refill.Value)
	}
	switch f.Eyes.Words[AskDrainage] {
	case throughWord:
		v.judge(true, "water came out below almost at once at the last look: dry mix lets it pass")
	case noneWord:
		v.evidence = append(v.evidence, "no water came out below at the last look")
	}
	return v
}

// ratherDry tells that the zone stands nearer to its refill point than to full.
func (f Facts) ratherDry() bool {
	return f.Water.Known && f.Refill.Known && f.Capacity.Known && 2*f.Water.Value < f.Refill.Value+f.Capacity.Value
}

func (f Facts) dips() string {
	if f.Dips.Value == 1 {
		return "once"
	}
	return fmt.Sprintf("%.0f times", f.Dips.Value)
}

// uneven is both in one week, or either often.
func (f Facts) uneven() (v verdict) {
	if f.Dips.Known {
		v.judge(f.Dips.Value > 1, "under its refill point %s in the last 7 days", f.dips())
	}
	if f.SaturatedHours.Known {
		v.judge(f.SaturatedHours.Value > wetHours, "saturated for %.0f h in the last 7 days", f.SaturatedHours.Value)
	}
	return v
}

func (f Facts) hotRoots() (v verdict) {
	if f.HottestC.Known {
		v.judge(f.HottestC.Value > hotRootsC, "the mix reached %.0f °C in the last 7 days", f.HottestC.Value)
	}
	return v
}

func (f Facts) coldRoots() (v verdict) {
	if f.ColdestC.Known {
		v.judge(f.ColdestC.Value < coldRootsC, "the mix fell to %.0f °C in the last 7 days", f.ColdestC.Value)
	}
	return v
}

func (f Facts) salty() (v verdict) {
	if f.DrainMS.Known {
		over := f.DrainMS.Value > saltyDrainage || (f.FeedMS.Known && f.DrainMS.Value-f.FeedMS.Value > saltyOverFeed)
		v.judge(over, "drainage read %.1f mS/cm", f.DrainMS.Value)
		return v
	}
	if f.SaltMS.Known {
		over := f.SaltMS.Value > saltyDrainage || (f.FeedMS.Known && f.SaltMS.Value-f.FeedMS.Value > saltyOverFeed)
		v.judge(over, "about %.1f mS/cm in the pot's water by the account of salts", f.SaltMS.Value)
		if over && f.Eyes.Words[AskDrainage] == noneWord {
			v.evidence = append(v.evidence, "no water came out below at the last look: nothing takes them away")
		}
	}
	return v
}

func (f Facts) hungry() (v verdict) {
	if f.NDaysLeft.Known {
		v.judge(f.NDaysLeft.Value < shortOfNitrogen, "nitrogen for %.0f days is left by the ledger", f.NDaysLeft.Value)
	}
	switch {
	case f.DaysSinceFeed.Known:
		v.judge(f.DaysSinceFeed.Value > longSinceFeed, "fed %.0f days ago", f.DaysSinceFeed.Value)
	case f.DaysSincePlanting.Known:
		v.judge(f.DaysSincePlanting.Value > longSinceFeed, "never fed, planted %.0f days ago", f.DaysSincePlanting.Value)
	}
	if f.AlikeElsewhere.Known {
		// The rule of spreading, from the other side. It does not outweigh a ledger
		// that holds enough for all of them.
		is := f.AlikeElsewhere.Value == 1
		v.judge(is && f.NDaysLeft.Or(0) < plentyOfNitrogen, "plants under the same feed look %s", alike(is))
	}
	if f.Eyes.Words[AskNewGrowth] == greenWord && f.DaysSinceFeed.Known && f.DaysSinceFeed.Value <= longSinceFeed {
		// What the last feed did shows on new leaves; old ones never green again.
		v = verdict{support: Against, evidence: append(v.evidence, "the newest growth is green")}
	}
	if f.Eyes.LowerCount.Known {
		s := fmt.Sprintf("%.0f of the lowest leaves", f.Eyes.LowerCount.Value)
		if f.Eyes.LowerHeight.Known {
			s += fmt.Sprintf(", up to %.0f %% of the height", 100*f.Eyes.LowerHeight.Value)
		}
		v.evidence = append(v.evidence, s)
	}
	return v
}

func alike(is bool) string {
	if is {
		return "the same"
	}
	return "well"
}

// overfed is fed very lately with salt to show for it.
func (f Facts) overfed() (v verdict) {
	if f.DaysSinceFeed.Known && f.NDaysLeft.Known {
		v.judge(f.DaysSinceFeed.Value < 7 && f.NDaysLeft.Value > 21, "fed %.0f days ago with nitrogen for %.0f days left", f.DaysSinceFeed.Value, f.NDaysLeft.Value)
	}
	return v
}

func (f Facts) spreading() (v verdict) {
	if f.AlikeElsewhere.Known {
		// Alike in the whole feed speaks for food, scattered plants for disease
		// or pests (rule, from memory).
		v.judge(f.AlikeElsewhere.Value == 0, "plants under the same feed look %s", alike(f.AlikeElsewhere.Value != 0))
	}
	return v
}

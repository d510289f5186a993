package task

// A cause that a sign may point to, with what the records say.
type Cause struct {
	Name string `json:"cause"`
	// Support is what this pot's records say, Evidence the figures.
	Support  string   `json:"support"`
	Evidence []string `json:"evidence,omitempty"`
	// Check is how a grower would make sure.
	Check string `json:"check"`
	// Source is where the pattern is from.
	Source string `json:"source"`

	support Support
	kind    causeKind
}

// causeKind groups causes by what is to be done.
type causeKind uint8

const (
	wetCause causeKind = iota
	dryCause
	unevenCause
	hotCause
	coldCause
	saltCause
	hungerCause
	overfedCause
	traceCause
	leafCause
	drainCause
)

// Sources of patterns and rules, beside which they are shown.
const (
	srcSheet  = "extension sheet \"Plant nutrient deficiencies\" (nutrients that move show on lower leaves first, the others on new growth)"
	srcCV216  = "UF/IFAS CV216, Hochmuth"
	srcLeaf   = "extension descriptions of leaf spots"
	srcMemory = "from memory, common practice"
	srcAir    = "Schmitz, Anlauf and Rehrmann 2013 (air content governs oxygen in substrates)"
	srcHeat   = "Rutgers FS812 (media can pass 49 °C in dark containers)"
)

// candidates are the causes a sign points to, in the order a grower checks
// them: water and temperature first, then leaf disease, then food.
func candidates(s Sign, f Facts) []Cause {
	c := func(kind causeKind, v verdict, name, check, source string) Cause {
		return Cause{Name: name, Support: v.support.String(), Evidence: v.evidence, Check: check, Source: source, support: v.support, kind: kind}
	}
	wet := func() Cause {
		return c(wetCause, f.tooWet(), "too little air at the roots: too wet", "lift or weigh the pot, smell the mix low down, look whether the drain is free", srcAir)
	}
	dry := func() Cause {
		return c(dryCause, f.tooDry(), "too dry", "push a finger in deep, lift the pot; look again after a soak, in the evening", srcMemory)
	}
	uneven := func(source string) Cause {
		return c(unevenCause, f.uneven(), "uneven water", "compare the pot's curve with its refill point over the last two weeks", source)
	}
	hot := func() Cause {
		return c(hotCause, f.hotRoots(), "mix too hot", "feel the sunny side of the pot in the afternoon", srcHeat)
	}
	cold := func() Cause {
		return c(coldCause, f.coldRoots(), "cold roots", "look at the mix temperature in the morning", srcMemory)
	}
	salt := func() Cause {
		return c(saltCause, f.salty(), "salts have built up", "catch what drains and measure its EC", srcMemory)
	}
	hunger := func(name, source string) Cause {
		return c(hungerCause, f.hungry(), name, "count the days since the last feed; plants under the same feed should look alike", source)
	}
	leaf := func(name string) Cause {
		return c(leafCause, f.spreading(), name, "look at both sides with a lens, and whether it moves from plant to plant; only an adviser or a laboratory can tell for sure", srcLeaf)
	}
	trace := func(name, source string) Cause {
		return c(traceCause, verdict{}, name, "check the water's and the mix's pH, and what the label holds besides N, P and K", source)
	}
	switch s {
	case PaleLowerLeaves:
		out := []Cause{wet(), dry(), cold()}
		if w := f.Eyes.Words[AskSpots]; w != "" && w != noneWord {
			// Spots come before colour: what is marked is not fed.
			out = append(out, leaf("a leaf disease is likely: spots "+w+" were seen with it"))
		}
		return append(out, hunger("short of nitrogen", srcSheet))
	case PaleNewLeaves:
		return []Cause{wet(), hunger("short of food as a whole", srcMemory), trace("short of sulfur", srcMemory)}
	case GreenVeinsNew:
		return []Cause{wet(), cold(), trace("iron (or manganese, zinc) does not reach the new leaves: often high pH or wet roots", srcSheet)}
	case GreenVeinsLower:
		return []Cause{dry(), c(overfedCause, f.overfed(), "too much potassium in the feed keeps magnesium out", "compare the feed's K with its N", srcCV216), trace("short of magnesium", srcSheet)}
	case BrownEdgesLower:
		return []Cause{dry(), hot(), salt(), hunger("short of potassium", srcMemory)}
	case RingedSpots:
		return []Cause{leaf("a leaf disease is likely: such rings with a yellow rim, old leaves first, are how early blight is described"), hunger("weakened by hunger", srcMemory)}
	case ManySmallSpots:
		return []Cause{leaf("a leaf disease is likely: so is Septoria leaf spot described"), c(leafCause, verdict{}, "splashes or scorch", "were leaves wetted in the sun, or sprayed", srcMemory)}
	case WetBlotches:
		return []Cause{leaf("a leaf disease is likely, and may move fast: so is late blight described"), cold()}
	case PurpleUndersides:
		return []Cause{cold(), wet(), hunger("short of phosphorus", srcSheet)}
	case Limp:
		return []Cause{wet(), dry(), hot(), salt(), c(leafCause, verdict{}, "roots or stem damaged", "look at the stem's base and at a few roots from the side of the pot", srcMemory)}
	case SunkenFruitEnd:
		return []Cause{uneven(srcMemory), c(overfedCause, f.overfed(), "too much nitrogen or potassium early", "compare the feeds given with the plan", srcCV216), salt()}
	case WhiteCrust:
		return []Cause{salt(), c(drainCause, verdict{}, "hard water drying on the fabric", "is the crust on the outside only, where water dries", srcMemory)}
	case SlowGrowth:
		return []Cause{wet(), dry(), cold(), hot(), salt(), hunger("short of food", srcMemory)}
	case NoDrainage:
		return []Cause{c(drainCause, verdict{}, "the mix has sunk together or the drain is blocked", "push a thin stick down and look under the pot", srcMemory), wet()}
	case RunsStraightThrough:
		return []Cause{dry(), c(drainCause, verdict{}, "water runs along the wall past dry mix", "dig a finger in beside the plant after watering", srcMemory)}
	}
	return nil
}

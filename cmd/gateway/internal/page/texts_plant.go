package page

import "fabricpot/control/garden"

// The words about what a gardener did to the plants, and of the answer to what
// one saw on them.
const (
	tPlants     = "What I did to the plants"
	tPlantHelp  = "You see what it changes before anything is entered."
	tPlantSee   = "See what it changes"
	tPlantSure  = "Enter it?"
	tPlantWhat  = "What"
	tPlantFrom  = "Counts from"
	tPlantDoes  = "It changes"
	tPlantDo    = "Enter it"
	tPlantDone  = "Entered: %s."
	tFromToday  = "today"
	tFromDay    = "%s"
	tWhen       = "Day"
	tWhich      = "Which plants"
	tAllPlants  = "All of this pot"
	tHowMany    = "How many plants; empty: as in the garden file"
	tLeavesOff  = "Share of the leaves taken off"
	tLeavesWith = "Share of the leaves that went with it; 0 for fruit"
	tCovered    = "Share of the surface that is covered now"
	tMixAdded   = "Mix added, %s; all that the pot holds: all of it is new"
	tWhere      = "Where it stands now"
	tSheltered  = "Sheltered from wind or sun"
	tOpenAir    = "In the open"
	tWindyPaved = "Windy, or on hot paving"
	tStage      = "What they do"
	tGrowing    = "Growing leaves"
	tFlowering  = "Flowering"
	tFruiting   = "Fruiting"
	tRipening   = "Ripening"

	tChPlanted    = "The plants are reckoned as young from that day: a small canopy and shallow roots, that grow week by week. What was learnt of the old plants' thirst counts half."
	tChPruned     = "%.0f %% of the leaves are gone: less is drunk from that day on. They grow back, half of them in a fortnight."
	tChPicked     = "No leaves went with it: the need for water stays as it is. The day is kept for the season's report."
	tChPulled     = "The pot counts as empty: it gets no more water or feed until you enter that it is planted."
	tChPulledOn   = "The pot counts as empty: nothing is watered or fed for its sake until you enter that it is planted. Its line still brings it water with the others: shut its emitters."
	tChStands     = "Plants came to this pot after that day, or on it by the garden file: those stand and are watered as before. Only what stood there before them counts as pulled. If it is they that are out, enter a pull for today, or take them from the garden file."
	tChPulledSome = "They count as gone: water and feed are reckoned for what else grows in the pot. Where that was pulled too, it counts as empty and gets none until you enter that it is planted."
	tChMulched    = "%.0f %% of the surface is covered: less evaporates from it, so that water lasts longer."
	tChBare       = "The surface is bare again: more evaporates from it."
	tChToppedUp   = "%s of fresh, fairly dry mix are in the pot: how wet it is all in all becomes less sure until the probes have settled."
	tChDeeper     = "The probes now sit deeper by what was added; correct their depth in the garden file."
	tChNewMix     = "All of it is new: what the tap's salts came to is reckoned anew."
	tChSheltered  = "It is reckoned to lose less water than in the open. What was learnt of its thirst counts half."
	tChOpen       = "It is reckoned to lose as much as the open terrace does. What was learnt of its thirst counts half."
	tChWindy      = "It is reckoned to lose more water than in the open. What was learnt of its thirst counts half."
	tChSeen       = "They count as %s from that day on, earlier or later than reckoned, and drink and feed as such."

	tErrPlant = "That can't be entered"
	tErrCrop  = "“%s” does not grow in this pot."
	tErrDay   = "Expected a day of the last year up to today, such as 2026-04-15; got “%s”."
	tErrShare = "Expected a share from 0 to 100 %%; got “%s”."
	tErrCount = "Expected 1 to 500 plants; got “%s”."
	tErrMix   = "Expected more than 0 up to the volume of the mix; got “%s”."

	tYouSaw       = "You saw: %s"
	tCauses       = "Likely causes, in the order to check them"
	tCheckBy      = "Check"
	tSource       = "Source"
	tFirst        = "Do first"
	tLeaveAlone   = "Leave alone"
	tRecovery     = "Recovery takes more than one feed; its tasks are on the rounds"
	tPlanDay      = "Day %d"
	tPlanDays     = "Day %d to %d"
	tLookAgain    = "Look again between %s and %s; it is on the rounds."
	tAllWellSaid  = "Good. It is kept with the day."
	tSigns        = "On the plants: answered at once"
	tMeasures     = "Measured, or in your words"
	tErrSignValue = "A value goes with a measurement, not with what you see on the plants: note them one after the other."
	tInMorning    = "in the morning"
	tAtMidday     = "at midday, well in the evening"
	tToRounds     = "To the rounds"
)

// plantTitle is an event as a button says it.
func plantTitle(k garden.PlantEventKind) string {
	switch k {
	case garden.Planted:
		return "Planted"
	case garden.Pruned:
		return "Pruned"
	case garden.Harvested:
		return "Harvested"
	case garden.Pulled:
		return "Pulled out"
	case garden.Mulched:
		return "Mulched"
	case garden.ToppedUp:
		return "Topped up"
	case garden.Moved:
		return "Moved"
	}
	return "Seen at a stage"
}

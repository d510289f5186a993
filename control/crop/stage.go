package crop

import (
	"fmt"
	"math"
	"strings"
)

// StageNames lists the stages in order.
func StageNames() []string { return []string{Initial, Development, Mid, Late} }

// BeginsAt is the age in stage days at which a stage begins. "flowering" and
// "fruiting" are what gardeners see of mid-season and name it too: FAO-56 lets
// it run from full cover to the first ripening. It refuses any other word.
func (c Crop) BeginsAt(stage string) (float64, error) {
	d := c.StageDays
	switch normal(stage) {
	case Initial, "planted":
		return 0, nil
	case Development, "growing":
		return float64(d[0]), nil
	case "mid season", "mid", "flowering", "fruiting":
		return float64(d[0] + d[1]), nil
	case Late, "ripening", "ending":
		return float64(d[0] + d[1] + d[2]), nil
	}
	return 0, fmt.Errorf("crop: stage %.40q of %s is unknown, expected %s, or as a gardener sees it growing, flowering, fruiting or ripening",
		stage, c.Name, strings.Join(StageNames(), ", "))
}

// SeasonDays is the length of all stages together.
func (c Crop) SeasonDays() float64 {
	return float64(c.StageDays[0] + c.StageDays[1] + c.StageDays[2] + c.StageDays[3])
}

// Age is how far a plant has come, in stage days. It is a value that its owner
// keeps, one for each planting: a day's growth is added with Grow, and what the
// gardener sees sets it right with Seen. The zero Age is the day of planting.
type Age struct {
	// Days is the age in stage days.
	Days float64
	// Corrected tells that the gardener has set it.
	Corrected bool
}

// Grow adds a day of growth: 1 by the calendar, or what Progress says.
func (a Age) Grow(stageDays float64) Age {
	if stageDays > 0 && !math.IsInf(stageDays, 0) {
		a.Days += stageDays
	}
	return a
}

// Seen moves an age to where the gardener sees the plant. A plant that is in
// the stage already stays where it is; an earlier one is brought forward to its
// beginning, a later one back to it. It refuses an unknown stage.
func (c Crop) Seen(a Age, stage string) (Age, error) {
	begin, err := c.BeginsAt(stage)
	if err != nil {
		return a, err
	}
	if want := c.At(begin).Stage; c.At(a.Days).Stage != want {
		a.Days = begin
	}
	a.Corrected = true
	return a, nil
}

// DegreeDays is a day's heat above the crop's base temperature, °C·d: each
// extreme bounded to base..upper, then the mean less the base (method 2 of
// McMaster and Wilhelm 1997, Agric. For. Meteorol. 87:291-300, with an upper
// bound; from memory). NaN gives 0.
func (c Crop) DegreeDays(tminC, tmaxC float64) float64 {
	bound := func(t float64) float64 { return min(max(t, c.BaseC), c.UpperC) }
	dd := (bound(tminC)+bound(tmaxC))/2 - c.BaseC
	if math.IsNaN(dd) {
		return 0
	}
	return dd
}

// Progress is how many stage days a calendar day is worth by its heat: 1 at the
// crop's reference temperature, less when cooler, never over 1.5, since no
// heat makes a plant grow at any speed. Where the garden asks for it this
// stretches and shortens the stages. The bound is judgement.
func (c Crop) Progress(tminC, tmaxC float64) float64 {
	if c.RefC <= c.BaseC {
		return 1
	}
	return min(c.DegreeDays(tminC, tmaxC)/(c.RefC-c.BaseC), 1.5)
}

package weather

import (
	"fmt"
	"slices"

	"fabricpot/control/garden"
)

const (
	// No place on Earth has a median daily maximum over this, °C; in °F it is a
	// cool day. Judgement: the hottest months on record have means near 40 °C.
	fahrenheitMedian = 43
	// A dry spell or a calm that never ends is more often a dead instrument.
	suspectDays = 400
)

// looksOdd tells what in a table is possible but unlikely.
func looksOdd(name string, days []garden.DayWeather) []string {
	var out []string
	var highs, ranges []float64
	var rain, wind float64
	for _, d := range days {
		if d.TMaxC.Known {
			highs = append(highs, d.TMaxC.Value)
			if d.TMinC.Known {
				ranges = append(ranges, d.TMaxC.Value-d.TMinC.Value)
			}
		}
		rain += d.RainMM.Or(0)
		wind += d.WindMS.Or(0)
	}
	if m := median(highs); m > fahrenheitMedian {
		out = append(out, fmt.Sprintf("%s: half of the days have a maximum over %.1f: this looks like °F, expected °C", name, m))
	} else if r := median(ranges); r > 25 {
		out = append(out, fmt.Sprintf("%s: half of the days span over %.1f degrees: this looks like °F, expected °C", name, r))
	}
	if len(days) >= suspectDays && rain == 0 {
		out = append(out, fmt.Sprintf("%s: no rain in %d days: is the gauge's column right?", name, len(days)))
	}
	if len(days) >= suspectDays && wind == 0 {
		out = append(out, fmt.Sprintf("%s: no wind in %d days: is the column right?", name, len(days)))
	}
	return out
}

// median is the middle value, 0 for none. It sorts its argument.
func median(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	slices.Sort(v)
	return v[len(v)/2]
}

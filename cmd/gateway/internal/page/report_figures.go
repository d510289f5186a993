package page

import (
	"fabricpot/cmd/gateway/internal/report"
)

// seasonFigures are what the journal knows of a pot's season.
func seasonFigures(z *report.Zone, pr prefs) []pair {
	w, s, f := z.Water, z.Stress, z.Feed
	var out []pair
	if !z.HandTended {
		out = append(out, pair{tRepLine, sprintf(tRepLineTx, pr.volume(w.LineL), w.Waterings, w.Pulses)})
	}
	if w.HandL > 0 || z.HandTended {
		out = append(out, pair{tRepHand, sprintf(tRepHandTx, pr.volume(w.HandL), times(len(z.Hand)))})
	}
	if w.RainL.Known {
		out = append(out, pair{tRepRain, sprintf(tRepRainTx, pr.volume(w.RainL.Value))})
	}
	if w.GoneL.Known {
		out = append(out, pair{tRepGone, sprintf(tRepGoneTx, pr.volume(w.GoneL.Value))})
	}
	if w.ThirstyL > 0 {
		out = append(out, pair{tRepThirst, sprintf(tRepThirstTx, pr.volume(w.ThirstyL), pr.volume(z.BandL()))})
	}
	out = append(out,
		pair{tRepUnder, sprintf(tRepUnderTx, s.UnderRefill, percent(s.Share(s.UnderRefill)), s.LongestUnder)},
		pair{tRepLimit, sprintf(tRepHours, s.UnderLimit)},
		pair{tRepOver, sprintf(tRepOverTx, s.OverCapacity, percent(s.Share(s.OverCapacity)))})
	if s.Least.Known {
		out = append(out, pair{tRepLeast, percent(s.Least.Value)})
	}
	switch {
	case f.Times > 0:
		words := sprintf(tRepFedTx, times(f.Times), pr.volume(f.Litres), f.NG, f.PG, f.KG)
		if f.Longest.Known {
			words += "; " + sprintf(tRepFedGap, f.Longest.Value)
		}
		out = append(out, pair{tRepFed, words})
	case f.Planned:
		out = append(out, pair{tRepFed, tRepFedNone})
	}
	if z.Flow.Metered.Known {
		out = append(out, pair{tRepMeter, percent(z.Flow.Metered.Value)})
	}
	if z.Flow.Arrived.Known {
		out = append(out, pair{tRepRise, sprintf(tRepRiseTx, percent(z.Flow.Arrived.Value), z.Flow.Checked)})
	}
	for _, c := range z.Refused {
		out = append(out, pair{tRepRefused, sprintf(tRepRefusedTx, times(c.Times), c.What)})
	}
	return out
}

// trueFigures are what only a simulator knows.
func trueFigures(z *report.Zone, pr prefs) []pair {
	t := z.True
	if t == nil {
		return nil
	}
	out := []pair{
		{tTrueDrunk, sprintf(tTrueDrunkTx, pr.volume(t.TranspiredL), pr.volume(t.PotentialTranspirationL), percent(t.LostShare()))},
		{tTrueAir, pr.volume(t.EvaporatedL)},
		{tTrueDrained, sprintf(tTrueDrainedTx, pr.volume(t.DrainedL), pr.volume(t.DrainedIrrigationL))},
		{tTrueApplied, pr.volume(t.AppliedL)},
		{tTrueRain, pr.volume(t.RainL)},
		{tTrueStress, sprintf(tRepHours, t.HoursStressed)},
		{tTrueWet, sprintf(tRepHours, t.HoursSaturated)},
	}
	if t.NAppliedG > 0 {
		out = append(out, pair{tTrueN, sprintf(tTrueNTx, t.NAppliedG, t.NUsedG, t.NLeachedG)})
	}
	return out
}

func alarmPair(a report.AlarmCount) pair {
	name := capital(a.Name)
	if a.About != "" {
		name += ", " + a.About
	}
	words := sprintf(tRepAlarmTx, times(a.Times), a.Last.Format("2 January 15:04"))
	if a.Text != "" {
		words += ": " + a.Text
	}
	return pair{name, words}
}

// times says how often.
func times(n int) string {
	if n == 1 {
		return tRepOnce
	}
	return sprintf(tRepTimes, n)
}

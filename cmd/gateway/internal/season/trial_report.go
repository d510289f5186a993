package season

import (
	"math"
	"slices"

	"fabricpot/sim/policy"
)

// Spread is a figure over the seeds.
type Spread struct {
	Mean  float64 `json:"mean"`
	Least float64 `json:"least"`
	Most  float64 `json:"most"`
}

func spreadOf(v []float64) Spread {
	if len(v) == 0 {
		return Spread{}
	}
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return Spread{sum / float64(len(v)), slices.Min(v), slices.Max(v)}
}

// TrialRow is what one policy came to in one case, over its seeds.
type TrialRow struct {
	Case   string `json:"case"`
	Group  string `json:"group"`
	Policy string `json:"policy"`
	Seeds  int    `json:"seeds"`
	// AppliedL and DrainedL are the whole terrace's, L.
	AppliedL Spread `json:"applied_l"`
	DrainedL Spread `json:"drained_l"`
	// DrainedShare is the share of what was applied that drained again.
	DrainedShare Spread `json:"irrigation_drained_share"`
	// TimesIdeal is water applied, less what the pots hold more at the end,
	// over the ideal's.
	TimesIdeal Spread `json:"times_ideal"`
	// LitresPerKG is water applied per kg of harvest.
	LitresPerKG Spread `json:"litres_per_kg"`
	// RelativeYield is harvest over what was hoped for.
	RelativeYield Spread `json:"relative_yield"`
	// LostShare is the share of transpiration that did not happen, WorstPot
	// that of the pot that fared worst.
	LostShare Spread `json:"transpiration_lost_share"`
	WorstPot  Spread `json:"worst_pot_lost_share"`
	WorstName string `json:"worst_pot"`
	// HoursOverWet is the mean over pots, DryDays the longest spell of any.
	HoursOverWet Spread `json:"hours_over_wet"`
	DryDays      Spread `json:"longest_dry_spell_days"`
	Openings     Spread `json:"valve_openings"`
	ValveMinutes Spread `json:"valve_minutes"`
	// Nitrogen of all pots: applied with feed, leached, and used as a share of
	// what plants with plenty would have taken; NLeachedGPerKG is per kg of
	// harvest.
	NAppliedG      Spread `json:"n_applied_g"`
	NUsedShare     Spread `json:"n_used_share"`
	NLeachedG      Spread `json:"n_leached_g"`
	NLeachedGPerKG Spread `json:"n_leached_g_per_kg"`
	// SaltMSCM is the highest conductivity that the water of any pot had, mS/cm;
	// see TrialZone.
	SaltMSCM Spread `json:"highest_salt_ms_cm"`
	// SaltLostShare is the share of what was hoped for that salt costs by Maas'
	// tolerances, 0..1; the relative yield does not count it.
	SaltLostShare Spread `json:"lost_to_salt_share"`
	// FeedsLateDays is by how much the gateway's latest feed missed its day.
	FeedsLateDays Spread `json:"feeds_late_days"`
	// AlarmHours after the fault, over the seeds in which an alarm came; Alarms
	// is how many those are.
	AlarmHours Spread `json:"alarm_hours"`
	Alarms     int    `json:"alarms"`
}

// sums of one run.
type runSums struct {
	applied, drained, drainedIrrigation, stored float64
	potential, transpired                       float64
	hoped, got, overWet, dry                    float64
	nApplied, nWanted, nUsed, nLeached          float64
	worst, salt, saltLost                       float64
	worstName                                   string
}

func sum(r TrialRun) runSums {
	s := runSums{worst: -1}
	for _, z := range r.Zones {
		s.applied += z.AppliedL
		s.drained += z.DrainedL
		s.drainedIrrigation += z.DrainedIrrigationL
		s.stored += z.StoredChangeL
		s.potential += z.PotentialTranspirationL
		s.transpired += z.TranspiredL
		s.hoped += z.HopedKG
		s.got += z.HopedKG * z.RelativeYield
		s.overWet += z.HoursOverWet / float64(len(r.Zones))
		s.dry = math.Max(s.dry, float64(z.DryDays))
		s.nApplied += z.NAppliedG
		s.nWanted += z.NWantedG
		s.nUsed += z.NUsedG
		s.nLeached += z.NLeachedG
		s.salt = math.Max(s.salt, z.SaltMSCM)
		s.saltLost += z.HopedKG * z.SaltLostShare
		if lost := share(z.PotentialTranspirationL-z.TranspiredL, z.PotentialTranspirationL); lost > s.worst {
			s.worst, s.worstName = lost, z.Name
		}
	}
	return s
}

// share is part over whole, never below 0, and 0 of nothing.
func share(part, whole float64) float64 {
	if whole <= 0 {
		return 0
	}
	return math.Max(0, part/whole)
}

// Rows sums a trial's runs up, in the set's order of cases and the tables' order
// of policies.
func Rows(set TrialSet, runs []TrialRun) []TrialRow {
	type place struct {
		name string
		seed uint64
	}
	ideal := map[place]runSums{}
	for _, r := range runs {
		if r.Policy == policy.Ideal {
			ideal[place{r.Case, r.Seed}] = sum(r)
		}
	}
	var out []TrialRow
	for _, c := range set.Cases {
		for _, name := range policy.Names() {
			row := TrialRow{Case: c.Name, Group: c.Group, Policy: name}
			cols := map[*Spread][]float64{}
			add := func(s *Spread, v float64) { cols[s] = append(cols[s], v) }
			worst := -1.0
			for _, r := range runs {
				if r.Case != c.Name || r.Policy != name {
					continue
				}
				row.Seeds++
				s, best := sum(r), ideal[place{r.Case, r.Seed}]
				add(&row.AppliedL, s.applied)
				add(&row.DrainedL, s.drained)
				add(&row.DrainedShare, share(s.drainedIrrigation, s.applied))
				add(&row.TimesIdeal, share(s.applied-s.stored, best.applied-best.stored))
				add(&row.LitresPerKG, share(s.applied, s.got))
				add(&row.RelativeYield, share(s.got, s.hoped))
				add(&row.LostShare, share(s.potential-s.transpired, s.potential))
				add(&row.WorstPot, s.worst)
				add(&row.HoursOverWet, s.overWet)
				add(&row.DryDays, s.dry)
				add(&row.Openings, float64(r.Openings))
				add(&row.ValveMinutes, r.ValveMinutes)
				add(&row.NLeachedG, s.nLeached)
				add(&row.SaltMSCM, s.salt)
				add(&row.SaltLostShare, share(s.saltLost, s.hoped))
				add(&row.NAppliedG, s.nApplied)
				add(&row.NUsedShare, share(s.nUsed, s.nWanted))
				add(&row.NLeachedGPerKG, share(s.nLeached, s.got))
				if s.worst > worst {
					worst, row.WorstName = s.worst, s.worstName
				}
				if r.FeedsLateDays != nil {
					add(&row.FeedsLateDays, *r.FeedsLateDays)
				}
				if r.AlarmHours != nil {
					row.Alarms++
					add(&row.AlarmHours, *r.AlarmHours)
				}
			}
			for s, v := range cols {
				*s = spreadOf(v)
			}
			if row.Seeds > 0 {
				out = append(out, row)
			}
		}
	}
	return out
}

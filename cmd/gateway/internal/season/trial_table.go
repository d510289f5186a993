package season

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strconv"
	"text/tabwriter"

	"fabricpot/sim/policy"
)

// Pooled is a group's rows as one case per policy: the means of its cases' means,
// the least of the least and the most of the most.
func Pooled(rows []TrialRow, group, name string) []TrialRow {
	var out []TrialRow
	for _, p := range policy.Names() {
		pool := TrialRow{Case: name, Group: group, Policy: p}
		n, worst := 0.0, -1.0
		for _, r := range rows {
			if r.Group != group || r.Policy != p {
				continue
			}
			n++
			pool.Seeds += r.Seeds
			into, from := pool.spreads(), r.spreads()
			for i := range into {
				s, f := into[i].value, from[i].value
				if n == 1 {
					*s = *f
					continue
				}
				*s = Spread{s.Mean + (f.Mean-s.Mean)/n, min(s.Least, f.Least), max(s.Most, f.Most)}
			}
			if r.WorstPot.Most > worst {
				worst, pool.WorstName = r.WorstPot.Most, r.WorstName
			}
		}
		if n > 0 {
			out = append(out, pool)
		}
	}
	return out
}

// figure is a spread with its name in the CSV.
type figure struct {
	name  string
	value *Spread
}

// spreads lists a row's figures in the CSV's order.
func (r *TrialRow) spreads() []figure {
	return []figure{
		{"applied_l", &r.AppliedL}, {"drained_l", &r.DrainedL}, {"irrigation_drained_share", &r.DrainedShare},
		{"times_ideal", &r.TimesIdeal}, {"litres_per_kg", &r.LitresPerKG}, {"relative_yield", &r.RelativeYield},
		{"transpiration_lost_share", &r.LostShare}, {"worst_pot_lost_share", &r.WorstPot},
		{"hours_over_wet", &r.HoursOverWet}, {"longest_dry_spell_days", &r.DryDays},
		{"valve_openings", &r.Openings}, {"valve_minutes", &r.ValveMinutes},
		{"n_applied_g", &r.NAppliedG}, {"n_used_share", &r.NUsedShare}, {"n_leached_g", &r.NLeachedG}, {"n_leached_g_per_kg", &r.NLeachedGPerKG},
		{"highest_salt_ms_cm", &r.SaltMSCM}, {"lost_to_salt_share", &r.SaltLostShare},
		{"feeds_late_days", &r.FeedsLateDays}, {"alarm_hours", &r.AlarmHours},
	}
}

// WriteTrialCSV writes a row per case and policy; each figure has a mean, least
// and most over the seeds.
func WriteTrialCSV(w io.Writer, rows []TrialRow) error {
	out := csv.NewWriter(w)
	head := []string{"group", "case", "policy", "seeds", "alarms", "worst_pot"}
	for _, c := range (&TrialRow{}).spreads() {
		head = append(head, c.name, c.name+"_least", c.name+"_most")
	}
	if err := out.Write(head); err != nil {
		return err
	}
	num := func(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }
	for _, r := range rows {
		line := []string{r.Group, r.Case, r.Policy, strconv.Itoa(r.Seeds), strconv.Itoa(r.Alarms), r.WorstName}
		for _, c := range r.spreads() {
			line = append(line, num(c.value.Mean), num(c.value.Least), num(c.value.Most))
		}
		if err := out.Write(line); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// WriteTrialJSON writes rows and runs as one object.
func WriteTrialJSON(w io.Writer, set TrialSet, rows []TrialRow, runs []TrialRun) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", " ")
	return enc.Encode(struct {
		Trial string     `json:"trial"`
		Seeds int        `json:"seeds"`
		Rows  []TrialRow `json:"rows"`
		Runs  []TrialRun `json:"runs"`
	}{set.Name, set.Seeds, rows, runs})
}

// WriteTrialTable writes the trial for people to read.
func WriteTrialTable(w io.Writer, set TrialSet, rows []TrialRow) error {
	cases := 0
	for _, c := range set.Cases {
		if c.Group == groupSeasons {
			cases++
		}
	}
	if cases > 0 {
		fmt.Fprintf(w, "All seasons: %d cases, %d seeds each, no faults.\n\n", cases, set.Seeds)
		if err := policyTable(w, Pooled(rows, groupSeasons, "all seasons")); err != nil {
			return err
		}
	}
	for _, c := range set.Cases {
		if c.Group != groupSeasons {
			continue
		}
		fmt.Fprintf(w, "\n%s: %s from %s, %d days.\n\n", c.Name, c.Garden, c.From, c.Days)
		if err := policyTable(w, of(rows, c.Name)); err != nil {
			return err
		}
	}
	if err := washedTable(w, rows); err != nil {
		return err
	}
	if err := fedTable(w, set, rows); err != nil {
		return err
	}
	if err := variationTable(w, set, rows); err != nil {
		return err
	}
	if err := faultTable(w, set, rows); err != nil {
		return err
	}
	_, err := fmt.Fprint(w, `
Times ideal: water applied, less what the pots hold more at the end, over that of
a ledger that knows the future and loses nothing to thirst. Lost: the share of
transpiration that did not happen. kg: harvest by FAO-33's yield response (Ky
from memory) times the share of hours that were not over-wet. Where nobody
is fed, N is starter charge. Salt: the highest conductivity of any pot's water, as
if it held what it does drained; only drainage takes away what the tap's water
leaves behind. Lost to salt: of the harvest, by Maas' tolerances for that of each
midnight; kg and yield do not count it. All timers but the one by tables are set with
hindsight. What the gateway's list of work asks of a person is done in the evening at
seven.
`)
	return err
}

func of(rows []TrialRow, name string) []TrialRow {
	var out []TrialRow
	for _, r := range rows {
		if r.Case == name {
			out = append(out, r)
		}
	}
	return out
}

func policyTable(w io.Writer, rows []TrialRow) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "policy\tapplied L\tdrained %\ttimes ideal\tL/kg\tlost %\tworst pot %\tdry days\tover-wet h\tyield %\tN leached g/kg\tsalt mS/cm\tlost to salt %\topenings\tvalve min\t")
	for _, r := range rows {
		n, salt, open, minutes := fmt.Sprintf("%.2f", r.NLeachedGPerKG.Mean), fmt.Sprintf("%.1f\t%.1f", r.SaltMSCM.Most, 100*r.SaltLostShare.Mean), fmt.Sprintf("%.0f", r.Openings.Mean), fmt.Sprintf("%.0f", r.ValveMinutes.Mean)
		if r.Policy == policy.Ideal {
			n, salt, open, minutes = "", "\t", "", ""
		}
		fmt.Fprintf(t, "%s\t%.0f\t%.1f\t%.2f\t%.0f\t%.2f\t%.1f\t%.0f\t%.0f\t%.1f\t%s\t%s\t%s\t%s\t\n", r.Policy, r.AppliedL.Mean,
			100*r.DrainedShare.Mean, r.TimesIdeal.Mean, r.LitresPerKG.Mean, 100*r.LostShare.Mean, 100*r.WorstPot.Most,
			r.DryDays.Most, r.HoursOverWet.Mean, 100*r.RelativeYield.Mean, n, salt, open, minutes)
	}
	return t.Flush()
}

// Groups of cases.
const (
	groupSeasons = "seasons"
	groupFaults  = "faults"
	groupFed     = "fed"
	groupWashed  = "salts washed out"
)

// fedTable is about nitrogen.
func fedTable(w io.Writer, set TrialSet, rows []TrialRow) error {
	for _, c := range set.Cases {
		if c.Group != groupFed {
			continue
		}
		fmt.Fprintf(w, "\n%s: %s from %s, %d days, feeds and the leaching that goes with them.\n\n", c.Name, c.Garden, c.From, c.Days)
		t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
		fmt.Fprintln(t, "policy\tapplied L\tdrained %\ttimes ideal\tlost %\tworst pot %\tyield %\tN applied g\tN used, % of wanted\tN leached g\tN leached g/kg\tsalt mS/cm\tlost to salt %\tlatest feed, days late\t")
		for _, r := range of(rows, c.Name) {
			fmt.Fprintf(t, "%s\t%.0f\t%.1f\t%.2f\t%.2f\t%.1f\t%.1f\t", r.Policy, r.AppliedL.Mean, 100*r.DrainedShare.Mean,
				r.TimesIdeal.Mean, 100*r.LostShare.Mean, 100*r.WorstPot.Most, 100*r.RelativeYield.Mean)
			if r.Policy == policy.Ideal {
				fmt.Fprintln(t, "\t\t\t\t\t\t\t")
				continue
			}
			late := ""
			if r.Policy == policy.Gateway {
				late = fmt.Sprintf("%.1f", r.FeedsLateDays.Most)
			}
			fmt.Fprintf(t, "%.1f\t%.0f\t%.1f\t%.2f\t%.1f\t%.1f\t%s\t\n", r.NAppliedG.Mean, 100*r.NUsedShare.Mean, r.NLeachedG.Mean, r.NLeachedGPerKG.Mean, r.SaltMSCM.Most, 100*r.SaltLostShare.Mean, late)
		}
		if err := t.Flush(); err != nil {
			return err
		}
	}
	return nil
}

// washedTable is the seasons again with what drains that salts ask for.
func washedTable(w io.Writer, rows []TrialRow) error {
	all := Pooled(rows, groupWashed, "")
	if len(all) == 0 {
		return nil
	}
	fmt.Fprint(w, "\nAll seasons again, where as much drains as salts ask for, and each of them; the ideal\ndrains nothing.\n\n")
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "case\tapplied L\tdrained %\ttimes ideal\tlost %\tworst pot %\tN leached g/kg\tsalt mS/cm\tlost to salt %\t")
	line := func(name string, r TrialRow) {
		fmt.Fprintf(t, "%s\t%.0f\t%.1f\t%.2f\t%.2f\t%.1f\t%.2f\t%.1f\t%.1f\t\n", name, r.AppliedL.Mean, 100*r.DrainedShare.Mean, r.TimesIdeal.Mean,
			100*r.LostShare.Mean, 100*r.WorstPot.Most, r.NLeachedGPerKG.Mean, r.SaltMSCM.Most, 100*r.SaltLostShare.Mean)
	}
	for _, r := range all {
		if r.Policy == policy.Gateway {
			line("all", r)
		}
	}
	for _, r := range rows {
		if r.Group == groupWashed && r.Policy == policy.Gateway {
			line(r.Case, r)
		}
	}
	return t.Flush()
}

// other tells the groups that have no table of their own.
func other(c TrialCase) bool {
	return c.Group != groupSeasons && c.Group != groupFaults && c.Group != groupFed && c.Group != groupWashed
}

// compared are the policies that stand beside the gateway in the narrow tables.
func compared() []string {
	return []string{policy.Gateway, policy.HottestWeek, policy.MonthlyBook, policy.OneSwitch}
}

func variationTable(w io.Writer, set TrialSet, rows []TrialRow) error {
	if !slices.ContainsFunc(set.Cases, other) {
		return nil
	}
	fmt.Fprint(w, "\nWhat else may differ: water in times the ideal, and transpiration lost in %.\n\n")
	return narrowTable(w, set, rows, other, false)
}

func faultTable(w io.Writer, set TrialSet, rows []TrialRow) error {
	if !slices.ContainsFunc(set.Cases, func(c TrialCase) bool { return c.Group == groupFaults }) {
		return nil
	}
	fmt.Fprint(w, "\nOne fault, in the pot that the hottest week empties fastest: water in times the\nideal, transpiration lost in %, that of the worst pot, and when an alarm came.\n\n")
	return narrowTable(w, set, rows, func(c TrialCase) bool { return c.Group == groupFaults }, true)
}

func narrowTable(w io.Writer, set TrialSet, rows []TrialRow, want func(TrialCase) bool, alarms bool) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprint(t, "case\t")
	for _, p := range compared() {
		fmt.Fprintf(t, "%s: water\tlost %%\tworst\t", p)
	}
	if alarms {
		fmt.Fprint(t, "alarm\t")
	} else {
		fmt.Fprintf(t, "%s: drained %%\t", policy.Gateway)
	}
	fmt.Fprintln(t)
	for _, c := range set.Cases {
		if !want(c) {
			continue
		}
		fmt.Fprintf(t, "%s\t", c.Name)
		alarm, drained := "", ""
		for _, p := range compared() {
			i := slices.IndexFunc(rows, func(r TrialRow) bool { return r.Case == c.Name && r.Policy == p })
			if i < 0 {
				fmt.Fprint(t, "as without\t\t\t")
				continue
			}
			r := rows[i]
			fmt.Fprintf(t, "%.2f\t%.2f\t%.1f\t", r.TimesIdeal.Mean, 100*r.LostShare.Mean, 100*r.WorstPot.Most)
			if p == policy.Gateway {
				drained = fmt.Sprintf("%.1f", 100*r.DrainedShare.Mean)
			}
			if p == policy.Gateway && c.Fault.Kind != noFault {
				alarm = "none"
				if r.Alarms > 0 {
					alarm = fmt.Sprintf("after %.1f h", r.AlarmHours.Mean)
				}
				if r.Alarms > 0 && r.Alarms < r.Seeds {
					alarm += fmt.Sprintf(" (%d of %d)", r.Alarms, r.Seeds)
				}
			}
		}
		if alarms {
			fmt.Fprintf(t, "%s\t", alarm)
		} else {
			fmt.Fprintf(t, "%s\t", drained)
		}
		fmt.Fprintln(t)
	}
	return t.Flush()
}

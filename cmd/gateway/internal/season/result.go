package season

import (
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"text/tabwriter"
)

// Result is what a simulated season came to. The JSON names are a contract,
// explained in the README.
type Result struct {
	Days  int          `json:"days"`
	Seed  uint64       `json:"seed"`
	Zones []ZoneResult `json:"zones"`
	// MassBalanceErrorL is the largest imbalance of water over zones and time, L.
	MassBalanceErrorL float64 `json:"mass_balance_error_l"`
	// Speed is simulated time over the time it took.
	Speed float64 `json:"speed"`
}

// ZoneResult is one zone's season. Volumes are litres.
type ZoneResult struct {
	Name                    string  `json:"name"`
	AppliedL                float64 `json:"applied_l"`
	DrainedL                float64 `json:"drained_l"`
	TranspiredL             float64 `json:"transpired_l"`
	EvaporatedL             float64 `json:"evaporated_l"`
	RainL                   float64 `json:"rain_l"`
	StoredChangeL           float64 `json:"stored_change_l"`
	DrainedIrrigationL      float64 `json:"drained_irrigation_l"`
	HandTended              bool    `json:"hand_tended"`
	PotentialTranspirationL float64 `json:"potential_transpiration_l"`
	HoursBelowRefill        float64 `json:"hours_below_refill"`
	HoursStressed           float64 `json:"hours_stressed"`
	HoursSaturated          float64 `json:"hours_saturated"`
	Pulses                  int     `json:"pulses"`
	// Nitrogen of the simulated pot, g; all 0 where nothing is fed. Applied is
	// feed alone; the starter charge comes on top.
	NStarterG float64 `json:"n_starter_g"`
	NAppliedG float64 `json:"n_applied_g"`
	NUsedG    float64 `json:"n_used_g"`
	NWantedG  float64 `json:"n_wanted_g"`
	NLeachedG float64 `json:"n_leached_g"`
	// NPoolG is dissolved in the root zone at the end.
	NPoolG float64 `json:"n_pool_g"`
	// Feeds is how many feeds were given, NMgLLeast and NMgLMost between which
	// concentrations in the root zone's water days began after the first two
	// weeks.
	Feeds     int     `json:"feeds"`
	NMgLLeast float64 `json:"n_mg_l_least"`
	NMgLMost  float64 `json:"n_mg_l_most"`
}

// LostShare is the share of potential transpiration that did not happen, 0..1.
func (z ZoneResult) LostShare() float64 {
	if z.PotentialTranspirationL <= 0 {
		return 0
	}
	return max(0, 1-z.TranspiredL/z.PotentialTranspirationL)
}

// WriteJSON writes the result as one object. The column's arithmetic may have drawn some
// millionths of a litre up through a dry pot's floor: that is no draining below 0.
func (r Result) WriteJSON(w io.Writer) error {
	r.Zones = slices.Clone(r.Zones)
	for i := range r.Zones {
		r.Zones[i].DrainedL = max(0, r.Zones[i].DrainedL)
	}
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	return enc.Encode(r)
}

// WriteTable writes the result for people to read.
func (r Result) WriteTable(w io.Writer) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "zone\tapplied L\tdrained L\ttranspired L\tevaporated L\train L\th under refill\th stressed\th saturated\tlost %\tpulses\t")
	for _, z := range r.Zones {
		name := z.Name
		if z.HandTended {
			name += " (by hand)"
		}
		fmt.Fprintf(t, "%s\t%.1f\t%.1f\t%.1f\t%.1f\t%.1f\t%.0f\t%.0f\t%.0f\t%.2f\t%d\t\n",
			name, z.AppliedL, max(0, z.DrainedL), z.TranspiredL, z.EvaporatedL, z.RainL,
			z.HoursBelowRefill, z.HoursStressed, z.HoursSaturated, 100*z.LostShare(), z.Pulses)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	if err := r.writeFeeds(w); err != nil {
		return err
	}
	_, err := fmt.Fprintf(w, "\n%d days, seed %d, water unaccounted for at most %.2g L, %.0f times faster than real time\n",
		r.Days, r.Seed, r.MassBalanceErrorL, r.Speed)
	return err
}

// writeFeeds writes a second table where anything was fed.
func (r Result) writeFeeds(w io.Writer) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	any := false
	for _, z := range r.Zones {
		if z.Feeds == 0 && z.NAppliedG == 0 {
			continue
		}
		if !any {
			fmt.Fprintln(t, "\nzone\tfeeds\tN starter g\tN applied g\tN used g\tof wanted %\tN leached g\tN left g\tmg/L\t")
			any = true
		}
		fmt.Fprintf(t, "%s\t%d\t%.1f\t%.1f\t%.1f\t%.0f\t%.1f\t%.1f\t%.0f to %.0f\t\n", z.Name, z.Feeds, z.NStarterG, z.NAppliedG,
			z.NUsedG, 100*z.NUsedG/max(z.NWantedG, 1e-9), z.NLeachedG, z.NPoolG, z.NMgLLeast, z.NMgLMost)
	}
	return t.Flush()
}

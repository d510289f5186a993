package season

import (
	"context"
	"fmt"
	"sync"
	"time"

	"fabricpot/control"
	"fabricpot/control/garden"
	"fabricpot/sim/policy"
	"fabricpot/sim/terrace"
	"fabricpot/sim/terrace/column"
)

// A trial puts policies side by side: the same terraces, the same weather, the
// same seeds, the same valves behind the same guard. This file runs one season of
// one policy; what is tried is in trial_cases.go, what comes out in
// trial_report.go.

// TrialRun is one season of one policy. The JSON names are a contract, explained
// in the README. Volumes are litres.
type TrialRun struct {
	Case   string      `json:"case"`
	Policy string      `json:"policy"`
	Seed   uint64      `json:"seed"`
	Days   int         `json:"days"`
	Zones  []TrialZone `json:"zones"`
	// Openings and ValveMinutes are by what the pins saw.
	Openings     int     `json:"valve_openings"`
	ValveMinutes float64 `json:"valve_minutes"`
	// Fault is what went wrong, and where; AlarmHours how long after it the
	// gateway first raised an alarm that names the pot, its probe or its line.
	Fault      string   `json:"fault,omitempty"`
	FaultZone  string   `json:"fault_zone,omitempty"`
	AlarmHours *float64 `json:"alarm_hours,omitempty"`
	// FeedsLateDays is by how much the latest feed of the gateway missed its day;
	// only where it feeds.
	FeedsLateDays *float64 `json:"feeds_late_days,omitempty"`
	// Curve is the first zone's mean water, m³/m³, every six hours; only of
	// cases that ask for it.
	Curve []float64 `json:"curve,omitempty"`
}

// TrialZone is one root zone's season under a policy.
type TrialZone struct {
	Name                    string  `json:"name"`
	AppliedL                float64 `json:"applied_l"`
	DrainedL                float64 `json:"drained_l"`
	DrainedIrrigationL      float64 `json:"drained_irrigation_l"`
	RainL                   float64 `json:"rain_l"`
	StoredChangeL           float64 `json:"stored_change_l"`
	PotentialTranspirationL float64 `json:"potential_transpiration_l"`
	TranspiredL             float64 `json:"transpired_l"`
	HoursStressed           float64 `json:"hours_stressed"`
	HoursOverWet            float64 `json:"hours_over_wet"`
	// DryDays is the longest run of days that each lost over 5 % of their
	// transpiration.
	DryDays int `json:"longest_dry_spell_days"`
	// HopedKG is a usual season's harvest and RelativeYield what became of it,
	// 0..1.
	HopedKG       float64 `json:"hoped_kg"`
	RelativeYield float64 `json:"relative_yield"`
	// Nitrogen, g: applied with feed beside the mix's starter charge, taken up of
	// what plants with plenty would have taken, and leached.
	NAppliedG float64 `json:"n_applied_g"`
	NWantedG  float64 `json:"n_wanted_g"`
	NUsedG    float64 `json:"n_used_g"`
	NLeachedG float64 `json:"n_leached_g"`
	// SaltMSCM is the highest conductivity, mS/cm, that the zone's water had at
	// any midnight, reckoned as if the mix held what it does drained: what the
	// water from the tap left behind, of which plants take none and only drainage
	// takes any away, and the dissolved feed.
	SaltMSCM float64 `json:"highest_salt_ms_cm"`
	// SaltLostShare is the share of the harvest, 0..1, that such water costs those of
	// the zone's plants with the lowest threshold, the mean over all midnights (Maas
	// 1990); the relative yield does not count it.
	SaltLostShare float64 `json:"lost_to_salt_share"`
}

// trialWorld is a terrace and what is known of it before anybody waters.
type trialWorld struct {
	c     TrialCase
	seed  uint64
	g     *garden.Garden
	plan  *control.Plan
	rows  []garden.DayWeather
	start time.Time
	ref   *reference
}

// runner of trials; it keeps references, which several policies share.
type trialLab struct {
	mu   sync.Mutex
	refs map[string]*sharedReference
}

type sharedReference struct {
	once sync.Once
	ref  *reference
	err  error
}

func newTrialLab() *trialLab { return &trialLab{refs: map[string]*sharedReference{}} }

// world builds what a run starts from.
func (l *trialLab) world(ctx context.Context, c TrialCase, seed uint64) (*trialWorld, error) {
	g, err := c.garden()
	if err != nil {
		return nil, fmt.Errorf("trial %s: %w", c.Name, err)
	}
	rows, err := c.weather(g.Site.Zone)
	if err != nil {
		return nil, fmt.Errorf("trial %s: %w", c.Name, err)
	}
	plan, _, err := control.NewPlan(g)
	if err != nil {
		return nil, fmt.Errorf("trial %s: %w", c.Name, err)
	}
	w := &trialWorld{c: c, seed: seed, g: g, plan: plan, rows: rows, start: c.from(g.Site.Zone)}
	if _, ok := Covered(rows, w.start, w.start.AddDate(0, 0, c.Days-1)); !ok {
		return nil, fmt.Errorf("trial %s: the weather does not cover %d days from %s", c.Name, c.Days, w.start.Format(time.DateOnly))
	}
	l.mu.Lock()
	key := fmt.Sprint(c.place(), seed)
	s := l.refs[key]
	if s == nil {
		s = &sharedReference{}
		l.refs[key] = s
	}
	l.mu.Unlock()
	s.once.Do(func() { s.ref, s.err = newReference(ctx, w) })
	w.ref = s.ref
	return w, s.err
}

// run is one season of one policy.
func (l *trialLab) run(ctx context.Context, c TrialCase, name string, seed uint64) (TrialRun, error) {
	w, err := l.world(ctx, c, seed)
	if err != nil {
		return TrialRun{}, err
	}
	var out TrialRun
	switch name {
	case policy.Gateway:
		out, err = w.gateway(ctx)
	case policy.Ideal:
		out = w.ideal()
	default:
		out, err = w.rival(ctx, name)
	}
	if err != nil {
		return TrialRun{}, fmt.Errorf("trial %s, %s, seed %d: %w", c.Name, name, seed, err)
	}
	out.Case, out.Policy, out.Seed, out.Days = c.Name, name, seed, c.Days
	if c.Fault.Kind != noFault {
		out.Fault, out.FaultZone = string(c.Fault.Kind), string(w.zoneID(w.ref.weakest))
	}
	return out, nil
}

// terraceOptions are the same for every policy.
func (w *trialWorld) terraceOptions() terrace.Options {
	o := terrace.DefaultOptions(w.seed, w.rows)
	o.ETo = penman(w.g.Site)
	o.Nitrogen = &terrace.Nitrogen{}
	o.Solutes = []column.Solute{{Name: "salt", Water: w.g.Supply.ECmS.Or(tapMSCM)}}
	return o
}

const (
	// tapMSCM is the conductivity of tap water where a garden says nothing, mS/cm.
	// Common practice, no source.
	tapMSCM = 0.5
	// feedMSCM is what a mg of nitrogen a litre brings with everything that is fed
	// beside it, mS/cm: 0.65 for 100 mg/L of a 20-10-20 (from memory).
	feedMSCM = 0.0065
	// saltSolute is the salt's number in the columns, after the rain's.
	saltSolute = 1
)

func (w *trialWorld) zoneID(n int) garden.ZoneID {
	id, i := garden.ZoneID(""), 0
	w.g.EachZone(func(_ *garden.Pot, z *garden.Zone) {
		if i == n {
			id = z.ID
		}
		i++
	})
	return id
}

// at is the time since the start at which a civil day and hour comes.
func (w *trialWorld) at(day int, hour time.Duration) time.Duration {
	d := w.start.AddDate(0, 0, day)
	y, m, dd := d.Date()
	return time.Date(y, m, dd, int(hour/time.Hour), int(hour/time.Minute)%60, 0, 0, d.Location()).Sub(w.start)
}

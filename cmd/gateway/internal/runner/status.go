package runner

import (
	"time"

	"fabricpot/control/garden"
)

// Status is what the gateway knows at one moment, as people, hubs and metrics
// see it. A published Status is never written again.
type Status struct {
	At        time.Time    `json:"at"`
	Synced    bool         `json:"clock_confirmed"`
	Site      string       `json:"site"`
	Hardware  string       `json:"hardware"`
	Automatic bool         `json:"automatic"`
	Journal   string       `json:"journal"`
	Ticks     uint64       `json:"ticks"`
	Zones     []ZoneStatus `json:"zones"`
	Lines     []LineStatus `json:"lines"`
	Alarms    []AlarmLine  `json:"alarms"`
}

// ZoneStatus is one root zone. Water fractions are m³/m³, volumes litres.
type ZoneStatus struct {
	Zone  garden.ZoneID `json:"zone"`
	Name  string        `json:"name"`
	Pot   garden.PotID  `json:"pot"`
	State string        `json:"state"`
	// Water is the zone's mean; absent (null) where nothing is known yet.
	Water       *float64 `json:"water_fraction"`
	HeldL       *float64 `json:"held_l"`
	CapacityL   float64  `json:"capacity_l"`
	RefillL     float64  `json:"refill_l"`
	ToRefillL   *float64 `json:"litres_to_refill_point"`
	HoursLeft   *float64 `json:"hours_to_refill_point"`
	Capacity    float64  `json:"capacity_fraction"`
	RefillPoint float64  `json:"refill_fraction"`
	// Trusted tells that a good probe stands behind Water; else the balance does.
	Trusted    bool          `json:"probe_trusted"`
	HandTended bool          `json:"hand_tended"`
	Line       garden.LineID `json:"line,omitempty"`
	Why        string        `json:"why,omitempty"`
	LastLitres float64       `json:"last_litres"`
	LastAt     *time.Time    `json:"last_at"`
	Probes     []ProbeStatus `json:"probes"`
}

// ProbeStatus is one probe's last reading.
type ProbeStatus struct {
	Probe   garden.ProbeID `json:"probe"`
	DepthCM float64        `json:"depth_cm"`
	Volts   float64        `json:"volts"`
	Water   float64        `json:"water_fraction"`
	Quality string         `json:"quality"`
	Fault   string         `json:"fault,omitempty"`
	TempC   *float64       `json:"temp_c"`
}

// LineStatus is one irrigation line.
type LineStatus struct {
	Line      garden.LineID `json:"line"`
	Name      string        `json:"name"`
	Open      bool          `json:"open"`
	Confirmed bool          `json:"closed_confirmed"`
	TodayL    float64       `json:"litres_last_day"`
	CapL      float64       `json:"cap_l"`
}

// AlarmLine is one alarm that is raised or not yet acknowledged.
type AlarmLine struct {
	Name  string    `json:"name"`
	About string    `json:"about"`
	State string    `json:"state"`
	Since time.Time `json:"since"`
	Text  string    `json:"text"`
	Next  string    `json:"next_step"`
}

// CloseReport is what closing everything came to.
type CloseReport struct {
	// Lines is how many lines there are, Closed how many are confirmed closed.
	Lines  int `json:"lines"`
	Closed int `json:"confirmed_closed"`
	// Unconfirmed names the others; their hand valve is the next step.
	Unconfirmed []garden.LineID `json:"unconfirmed"`
	// Interrupted are the deliveries that this ended.
	Interrupted int `json:"interrupted"`
}

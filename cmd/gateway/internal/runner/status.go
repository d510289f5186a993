package runner

import (
	"time"

	"fabricpot/control"
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
	Weather   WeatherLine  `json:"weather"`
	Zones     []ZoneStatus `json:"zones"`
	Lines     []LineStatus `json:"lines"`
	Alarms    []AlarmLine  `json:"alarms"`
	// Converters are those that wired probes hang on, bus by bus.
	Converters []ConverterStatus `json:"converters"`
	// TankL is what the tank holds; absent where that is not measured.
	TankL *float64 `json:"tank_l,omitempty"`
}

// WeatherLine is the weather as far as it is known; absent is null.
type WeatherLine struct {
	AirC   *float64 `json:"air_c"`
	TMinC  *float64 `json:"today_min_c"`
	TMaxC  *float64 `json:"today_max_c"`
	RainMM *float64 `json:"today_rain_mm"`
	// EToMM is the reference evapotranspiration that today's need is reckoned
	// with, EToBy its method and EToGuessed what of it was not measured.
	EToMM      float64  `json:"today_eto_mm"`
	EToBy      string   `json:"today_eto_method,omitempty"`
	EToGuessed []string `json:"today_eto_estimated,omitempty"`
}

// ZoneStatus is one root zone. Water fractions are m³/m³, volumes litres.
type ZoneStatus struct {
	Zone  garden.ZoneID `json:"zone"`
	Name  string        `json:"name"`
	Pot   garden.PotID  `json:"pot"`
	State string        `json:"state"`
	// Empty tells that its plants were pulled: no line opens for it, though one that it
	// shares still brings it water with the others, and what tells when it would need
	// some is absent (null).
	Empty bool `json:"empty"`
	// Water is the zone's mean; absent (null) where nothing is known yet.
	Water *float64 `json:"water_fraction"`
	HeldL *float64 `json:"held_l"`
	// SD is the standard deviation of Water, m³/m³.
	SD        float64  `json:"water_sd"`
	VolumeL   float64  `json:"volume_l"`
	CapacityL float64  `json:"capacity_l"`
	RefillL   float64  `json:"refill_l"`
	ToRefillL *float64 `json:"litres_to_refill_point"`
	HoursLeft *float64 `json:"hours_to_refill_point"`
	// HoursSoonest and HoursLatest bound HoursLeft by a standard deviation.
	HoursSoonest *float64 `json:"hours_to_refill_point_soonest"`
	HoursLatest  *float64 `json:"hours_to_refill_point_latest"`
	HoursToDry   *float64 `json:"hours_to_lower_limit"`
	LossTodayL   float64  `json:"expected_loss_today_l"`
	Capacity     float64  `json:"capacity_fraction"`
	RefillPoint  float64  `json:"refill_fraction"`
	// Trusted tells that a good probe stands behind Water; else the balance does.
	Trusted    bool          `json:"probe_trusted"`
	HandTended bool          `json:"hand_tended"`
	Line       garden.LineID `json:"line,omitempty"`
	// ShutUntil is when keeping it shut ends, absent where it is not kept shut.
	ShutUntil  *time.Time `json:"kept_shut_until"`
	Why        string     `json:"why,omitempty"`
	LastLitres float64    `json:"last_litres"`
	LastAt     *time.Time `json:"last_at"`
	// Asked is the water that a person asked for and that waits; absent without any.
	Asked *AskedStatus `json:"asked,omitempty"`
	// TapSalts are those that the supply's water brought, with what food adds; absent where no
	// account of them is kept.
	TapSalts *control.SaltView `json:"salts,omitempty"`
	Probes   []ProbeStatus     `json:"probes"`
}

// AskedStatus is a wish for water that waits.
type AskedStatus struct {
	Litres float64 `json:"litres"`
	// Until is when it is given up, Waits what it waits for the end of; "" before the
	// first round that knows of it.
	Until time.Time `json:"given_up_at"`
	Waits string    `json:"waits_because,omitempty"`
}

// ProbeStatus is one probe's last reading.
type ProbeStatus struct {
	Probe   garden.ProbeID `json:"probe"`
	DepthCM float64        `json:"depth_cm"`
	Volts   float64        `json:"volts"`
	// Water is absent (null) where the reading is bad.
	Water   *float64 `json:"water_fraction"`
	Quality string   `json:"quality"`
	Fault   string   `json:"fault,omitempty"`
	TempC   *float64 `json:"temp_c"`
	// AgeS is how old the reading is, seconds.
	// ReadS is how long its last conversion took; absent (null) where it is not measured.
	ReadS *float64 `json:"read_s"`
	AgeS  float64  `json:"age_s"`
}

// ConverterStatus is how one converter on a bus has been answering.
type ConverterStatus struct {
	Bus     string `json:"bus"`
	Address uint16 `json:"address"`
	// Answers tells whether it gives readings, Since from when on; absent (null)
	// before it was first asked.
	Answers bool       `json:"answers"`
	Since   *time.Time `json:"since"`
	// Conversions counts what was asked of it since the start, Failed how many
	// of them failed.
	Conversions uint64 `json:"conversions"`
	Failed      uint64 `json:"conversions_failed"`
	// ReadS is how long its last conversion took; absent (null) where it is not measured.
	ReadS *float64 `json:"read_s"`
	// Error is what last went wrong and has not worked since.
	Error  string           `json:"error,omitempty"`
	Probes []garden.ProbeID `json:"probes"`
}

// LineStatus is one irrigation line.
type LineStatus struct {
	Line      garden.LineID `json:"line"`
	Name      string        `json:"name"`
	Open      bool          `json:"open"`
	Confirmed bool          `json:"closed_confirmed"`
	// UnconfirmedS is for how long it has been told to close without confirming it, s.
	UnconfirmedS float64 `json:"closed_unconfirmed_s"`
	TodayL       float64 `json:"litres_last_day"`
	CapL         float64 `json:"cap_l"`
	FlowLPH      float64 `json:"flow_l_per_h"`
	// OrderedL and SoFarL are of the pulse in progress, L; 0 without one.
	// LastPulseS is how long the line was last open, LastPulseAt when that ended;
	// absent (null) before the first pulse of this run.
	LastPulseS  *float64   `json:"last_pulse_s"`
	LastPulseAt *time.Time `json:"last_pulse_at"`
	OrderedL    float64    `json:"pulse_l"`
	SoFarL      float64    `json:"pulse_so_far_l"`
	// Trouble is the driver's last error.
	Trouble string `json:"trouble,omitempty"`
}

// AlarmLine is one alarm that is raised or not yet acknowledged.
type AlarmLine struct {
	Name  string `json:"name"`
	About string `json:"about"`
	State string `json:"state"`
	// Since is absent for one that was put out of service before it was ever raised.
	Since time.Time `json:"since,omitzero"`
	Text  string    `json:"text"`
	Next  string    `json:"next_step"`
	// Active tells that its condition still holds, Serious that it can't wait
	// for the morning.
	Active       bool `json:"active"`
	Acknowledged bool `json:"acknowledged"`
	Serious      bool `json:"serious"`
	// OutUntil is when it comes back into service, absent (null) where it is in.
	OutUntil *time.Time `json:"out_of_service_until"`
}

// Rests tells that it does not stand and is kept out of service: nobody need look at it.
func (a *AlarmLine) Rests() bool { return a.OutUntil != nil && !a.Active }

// Unseen tells that it waits for somebody to see it.
func (a *AlarmLine) Unseen() bool { return a.OutUntil == nil && !a.Acknowledged }

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

package season

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/control/garden"
)

// Script is one run of the campaign: a random terrace, its weather, what goes
// wrong and when the gateway dies. It follows from the seed and mode alone, and
// running it twice gives the same to the last byte.
type Script struct {
	Seed uint64 `json:"seed"`
	Mode Mode   `json:"mode"`
	Days int    `json:"days"`
	// Weather is usual, heat, rain or frost.
	Weather  string        `json:"weather"`
	Pots     []ScriptPot   `json:"pots"`
	SupplyL  float64       `json:"supply_l_per_h"`
	SupplyMS float64       `json:"supply_ms_cm,omitempty"` // 0 for not known
	Meter    bool          `json:"meter"`
	TankL    float64       `json:"tank_l,omitempty"`
	Pump     bool          `json:"pump,omitempty"` // from a tank with a float
	Hours    bool          `json:"hours,omitempty"`
	Mishaps  []Mishap      `json:"mishaps,omitempty"`
	Restarts []Restart     `json:"restarts,omitempty"`
	Month    time.Month    `json:"month"`
	Day      int           `json:"day,omitempty"` // of the month, 0 for the first
	start    time.Time     // set by garden
	every    time.Duration // the tick
}

// ScriptPot is a random pot with a line of its own.
type ScriptPot struct {
	Litres   float64 `json:"litres"`
	Crop     string  `json:"crop"`
	CanopyM2 float64 `json:"canopy_m2"`
	Windy    bool    `json:"windy,omitempty"`
	Probes   int     `json:"probes"`
	Emitters int     `json:"emitters"`
	// Fed is fed by its line's injector; Remote has its valve on a broker, Latch
	// one that stays as it was last told.
	Fed    bool `json:"fed,omitempty"`
	Remote bool `json:"remote,omitempty"`
	Latch  bool `json:"latch,omitempty"`
}

// Restart is a death of the gateway and when the next one starts.
type Restart struct {
	At   time.Duration `json:"at_ns"`
	Down time.Duration `json:"down_ns"`
	// Release lets the coils fall when it dies; a reboot starts a new clock.
	Release bool `json:"release"`
	Reboot  bool `json:"reboot"`
}

// Mode says what goes wrong in a script.
type Mode string

// Modes of a script.
const (
	// Clean: nothing; every alarm is a false one.
	Clean Mode = "clean"
	// Single: one mishap and no restart; its alarm is waited for.
	Single Mode = "single"
	// Several mishaps at once, restarts among them; only safety is judged.
	Several Mode = "several"
)

var cropsOfCampaign = []struct {
	name   string
	canopy float64
}{{"aubergine", 0.5}, {"chilli", 0.3}, {"cucumber", 0.5}, {"strawberry", 0.12}, {"chard", 0.2}}

// NewScript makes the script of a seed. kind fixes the mishap of a Single one;
// empty leaves it to the seed.
func NewScript(seed uint64, mode Mode, days int, kind MishapKind) Script {
	// Neighbouring seeds must not begin alike.
	r := rand.New(rand.NewPCG(seed*0x9e3779b97f4a7c15, 0xca4a16e))
	r.Uint64()
	s := Script{Seed: seed, Mode: mode, Days: days, every: time.Minute, Month: time.Month(5 + r.IntN(5)), Meter: r.IntN(2) == 0}
	for range 1 + r.IntN(3) {
		c := cropsOfCampaign[r.IntN(len(cropsOfCampaign))]
		litres := []float64{20, 38, 75, 150}[r.IntN(4)]
		canopy := c.canopy * (0.6 + 0.8*r.Float64()) * min(1.5, max(0.4, litres/60))
		p := ScriptPot{Litres: litres, Crop: c.name, CanopyM2: float64(int(canopy*100)+1) / 100, Windy: r.IntN(4) == 0, Probes: 1 + r.IntN(2), Emitters: 2 + int(litres/20)}
		s.Pots = append(s.Pots, p)
	}
	var all float64
	for _, p := range s.Pots {
		all += float64(2 * p.Emitters)
	}
	// Sometimes the supply carries only the biggest line.
	s.SupplyL = all
	if r.IntN(2) == 0 {
		s.SupplyL = all / 2
		for _, p := range s.Pots {
			s.SupplyL = max(s.SupplyL, float64(2*p.Emitters))
		}
	}
	s.Hours = r.IntN(3) == 0
	s.Weather = []string{"usual", "usual", "usual", "heat", "rain"}[r.IntN(5)]
	s.Pots[0].Fed = r.IntN(2) == 0
	if last := &s.Pots[len(s.Pots)-1]; !last.Fed {
		last.Remote = r.IntN(4) == 0
		last.Latch = !last.Remote && r.IntN(4) == 0
	}
	if r.IntN(5) == 0 {
		s.pumped()
	}
	if mode == Several && r.IntN(8) == 0 {
		s.Weather, s.Month = "frost", time.March
	}
	// Drawn apart, so that the rest is what it was before this was.
	s.SupplyMS = []float64{0, 0, 0.5, 1.5, 3}[rand.New(rand.NewPCG(seed, 0x5a17)).IntN(5)]
	switch mode {
	case Clean:
		if days > 45 {
			s.Month = time.May // a season, and not the frosts after it
		}
	case Single:
		if kind == "" {
			kind = drawn[r.IntN(len(drawn))].kind
		}
		s.add(r, kind, 0)
	case Several:
		for i := range 2 + r.IntN(3) {
			s.add(r, drawn[r.IntN(len(drawn))].kind, i)
		}
		for range r.IntN(4) {
			rs := Restart{At: s.moment(r), Down: []time.Duration{2 * time.Second, time.Minute, time.Hour}[r.IntN(3)], Release: r.IntN(2) == 0}
			rs.Reboot = rs.Release && r.IntN(2) == 0
			s.Restarts = append(s.Restarts, rs)
		}
		sortRestarts(s.Restarts)
	}
	return s
}

// moment is some time between the first day and the last but one.
func (s *Script) moment(r *rand.Rand) time.Duration {
	return 24*time.Hour + time.Duration(r.Int64N(max(1, int64(s.Days)-2)*int64(24*time.Hour)))
}

// add draws a mishap, and another in its place where what it needs takes from an
// earlier one what that needs: a valve that never opens is no longer one on a
// broker where a pump came after. Kinds that need nothing always fit.
func (s *Script) add(r *rand.Rand, kind MishapKind, nth int) {
	if s.fit(r, kind, nth) {
		return
	}
	for _, i := range r.Perm(len(drawn)) {
		if s.fit(r, drawn[i].kind, nth) {
			return
		}
	}
}

// fit adds a mishap, or leaves the script as it was where an earlier one would lose
// what it needs.
func (s *Script) fit(r *rand.Rand, kind MishapKind, nth int) bool {
	with := s.clone()
	with.draw(r, kind, nth)
	if !with.prepared() {
		return false
	}
	*s = with
	return true
}

func (s *Script) clone() Script {
	c := *s
	c.Pots, c.Mishaps, c.Restarts = slices.Clone(s.Pots), slices.Clone(s.Mishaps), slices.Clone(s.Restarts)
	return c
}

// prepared reports whether each mishap still finds the script as it prepared it.
func (s *Script) prepared() bool {
	for i := range s.Mishaps {
		again := s.clone()
		if d := mishapOf(s.Mishaps[i].Kind); d.prepare != nil {
			d.prepare(&again, &again.Mishaps[i])
		}
		if !reflect.DeepEqual(*s, again) {
			return false
		}
	}
	return true
}

// draw adds a mishap, whatever it takes from earlier ones.
func (s *Script) draw(r *rand.Rand, kind MishapKind, nth int) {
	d := mishapOf(kind)
	m := Mishap{Kind: kind, Pot: r.IntN(len(s.Pots)), At: s.moment(r)}
	if nth == 0 && s.Mode == Single {
		// Early, so that there is time to notice.
		m.At = 24*time.Hour + time.Duration(r.Int64N(int64(24*time.Hour)))
	}
	if s.Mode == Several && r.IntN(2) == 0 {
		m.For = time.Duration(1+r.Int64N(36)) * time.Hour
	}
	if d.lasts > 0 && m.For == 0 {
		m.For = d.lasts
	}
	m.Towards = 1 - 2*float64(r.IntN(2))
	if s.Mode == Single && d.needsMeter && s.Seed%5 != 0 {
		s.Meter = true // without one its promise is never put to the test
	}
	if d.prepare != nil {
		d.prepare(s, &m)
	}
	s.Mishaps = append(s.Mishaps, m)
}

// another adds a pot, for what takes two.
func (s *Script) another() {
	p := s.Pots[0]
	p.Fed, p.Remote = false, false
	p.CanopyM2 = float64(int(p.CanopyM2*60)+2) / 100
	s.Pots = append(s.Pots, p)
	s.SupplyL += float64(2 * p.Emitters)
}

// garden is the script's terrace as a garden file and as the gateway reads it.
func (s *Script) garden() (*garden.Garden, error) {
	var b strings.Builder
	fmt.Fprint(&b, `site: { name: Campaign, latitude: 40.64, longitude: 22.94, elevation: 45 m, time-zone: Europe/Athens }
mixes:
  light:
    illustrative: yes
    retention: { model: van-genuchten, theta-r: 10 %, theta-s: 88 %, alpha: 0.15 /cm, n: 1.6, conductivity: 30 cm/h }
    calibration: { method: two-point, points: [ { volts: 2.55 V, water: 10 % }, { volts: 1.35 V, water: 60 % } ] }
`)
	fed, far := false, false
	for i := range s.Pots {
		fed, far = fed || s.Pots[i].Fed, far || s.Pots[i].Remote
	}
	if fed {
		fmt.Fprint(&b, "products: { crystals: { form: soluble, label: 20-10-20 } }\n")
	}
	if far {
		fmt.Fprint(&b, "broker: { url: embedded }\n")
	}
	fmt.Fprint(&b, "pots:\n")

	for i, p := range s.Pots {
		fmt.Fprintf(&b, "  p%d:\n    mix: light\n    size: %.0f L\n    plants: [ { crop: %s, canopy: %.2f m2 } ]\n", i, p.Litres, p.Crop, p.CanopyM2)
		if p.Windy {
			fmt.Fprint(&b, "    exposure: windy-paved\n")
		}
		if p.Fed {
			fmt.Fprint(&b, "    feed: { products: [crystals], every: 5 d }\n")
		}
		fmt.Fprint(&b, "    probes:\n")
		for n := range p.Probes {
			// A pot's probes sit on different chips where there are two.
			fmt.Fprintf(&b, "      n%d: { depth: %d cm, input: 0x%x/%d }\n", n, 10+10*n, 0x48+n, i)
		}
	}
	fmt.Fprint(&b, "lines:\n")
	for i, p := range s.Pots {
		valve, injector := fmt.Sprintf("pin: %d", 5+i), ""
		if p.Remote {
			valve = fmt.Sprintf("remote: tap%d", i)
		} else if p.Latch {
			valve += fmt.Sprintf(", close-pin: %d", latchClosePin+i)
		}
		if p.Fed && !p.Remote {
			injector = fmt.Sprintf(", injector: { ratio: 1:100, pin: %d }", 20+i)
		}
		fmt.Fprintf(&b, "  l%d: { valve: { %s }, waters: { p%d: %d x 2 L/h }%s }\n", i, valve, i, p.Emitters, injector)
	}
	fmt.Fprintf(&b, "supply:\n  flow: %.0f L/h\n", s.SupplyL)
	if s.SupplyMS > 0 {
		fmt.Fprintf(&b, "  conductivity: %.1f mS/cm\n", s.SupplyMS)
	}
	if s.Meter {
		fmt.Fprint(&b, "  meter: 400 pulses/L\n")
	}
	if s.TankL > 0 {
		fmt.Fprintf(&b, "  tank: %.0f L\n  tank-reserve: 5 L\n", s.TankL)
	}
	if s.Pump {
		fmt.Fprint(&b, "  float: { debounce: 1 s }\n  pump: { pin: "+strconv.Itoa(pumpPin)+" }\n")
	}
	if s.Hours {
		fmt.Fprint(&b, "  hours: [ 04:30-11:00, 16:00-23:30 ]\n")
	}
	fmt.Fprint(&b, "hardware: { kind: bench }\n")
	g, problems, err := config.Load("campaign.yaml", []byte(b.String()))
	if err != nil {
		return nil, fmt.Errorf("campaign: seed %d: %w %v", s.Seed, err, problems)
	}
	s.start = time.Date(2026, s.Month, max(1, s.Day), 0, 0, 0, 0, g.Site.Zone)
	s.every = g.SampleEvery
	return g, nil
}

// A heat or rain that lasts all of a short script is a spell of so many days in
// every so many of a long one.
const spell, spellEvery = 10, 30

// weather is the script's weather, a row a day and three to spare.
func (s *Script) weather() []garden.DayWeather {
	rows := Climate(s.Seed, s.start, s.Days+3)
	for i := range rows {
		w := &rows[i]
		switch s.Weather {
		case "heat":
			if k := i % spellEvery; k >= 2 && (s.Days < spellEvery || k < 2+spell) {
				w.TMaxC, w.TMinC, w.RainMM = garden.Known(41), garden.Known(26), garden.Known(0)
			}
		case "rain":
			if s.Days >= spellEvery && i%spellEvery >= spell {
				continue
			}
			w.RainMM = garden.Known(12 + float64(i%5))
		case "frost":
			if i >= 1 {
				w.TMinC, w.TMaxC = garden.Known(-3), garden.Known(9)
			}
		}
	}
	return rows
}

func sortRestarts(r []Restart) {
	for i := 1; i < len(r); i++ {
		for k := i; k > 0 && r[k].At < r[k-1].At; k-- {
			r[k], r[k-1] = r[k-1], r[k]
		}
	}
}

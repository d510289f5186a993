package season

import (
	"bytes"
	"fmt"
	"strings"
	"time"

	"fabricpot/cmd/gateway/internal/config"
	"fabricpot/cmd/gateway/internal/timezone"
	"fabricpot/control/garden"
	"fabricpot/control/weather"
	"fabricpot/sim/bench"
	"fabricpot/sim/policy"
	"fabricpot/testdata"
)

// TrialCase is a place, a season and what is unusual in it.
type TrialCase struct {
	Name string
	// Group gathers cases in tables: "seasons", "sizes", "probes", "emitters",
	// "leaching", "fed", "salts washed out", "faults".
	Group string
	// Garden, Mix and Weather name what trialGarden, trialMixes and the files of
	// testdata know.
	Garden, Mix, Weather string
	// From is the first day, in the garden's zone, and Days how many.
	From string
	Days int
	// DU replaces the lines' distribution uniformity, Leaching the zones'
	// leaching fraction; 0 keeps the garden's uniformity and asks for none.
	DU, Leaching float64
	// ByNeed has as much drain as salts ask for in place of a fraction.
	ByNeed bool
	// Probes' errors: noise of each conversion and standard deviation of lasting
	// offsets in V, of gain, and a drift in V/h that all of them share.
	NoiseV, OffsetV, Gain, DriftVPH float64
	Fault                           fault
	// Fed keeps the garden's feeds and the leaching that goes with them; rivals
	// are fed by the calendar.
	Fed bool
	// Curve keeps the first pot's water.
	Curve bool
	// Tick replaces the garden's sample-every.
	Tick time.Duration
}

// place is what a reference season depends on.
func (c TrialCase) place() string {
	return fmt.Sprint(c.Garden, "|", c.Mix, "|", c.Weather, "|", c.From, "|", c.Days, "|", c.DU)
}

// touches tells whether the case can change what a policy does.
func (c TrialCase) touches(name string) bool {
	return c.Fault.touches(name) && (!c.ByNeed || name == policy.Gateway || name == policy.Ideal)
}

func (c TrialCase) from(zone *time.Location) time.Time {
	t, err := time.ParseInLocation(time.DateOnly, c.From, zone)
	if err != nil {
		panic("trial: " + err.Error()) // a constant of this file, proved by a test
	}
	return t
}

func (c TrialCase) benchOptions(seed uint64) bench.Options {
	return bench.Options{Seed: seed ^ 0xbe7c, NoiseV: c.NoiseV, OffsetV: c.OffsetV, Gain: c.Gain}
}

// trialSite is where a file's weather was measured.
func trialSite(weather string) (garden.Site, []byte, error) {
	site := func(table, name, zone string, lat, lon, elevation float64, coastal bool) (garden.Site, []byte, error) {
		z, err := timezone.Load(zone)
		if err != nil {
			return garden.Site{}, nil, err
		}
		days, err := testdata.Weather(table)
		return garden.Site{Name: name, ID: "trial", LatDeg: lat, LonDeg: lon, ElevationM: elevation, Coastal: coastal, Zone: z}, days, err
	}
	switch weather {
	case "seattle":
		return site("seattle-weather.csv", "Seattle", "America/Los_Angeles", 47.6, -122.3, 50, true)
	case "new-york":
		return site("new-york-weather.csv", "New York", "America/New_York", 40.7, -74.0, 10, true)
	case "heat-spell":
		return site("synthetic-heat-spell.csv", "Synthetic heat spell", "Europe/Athens", 40.64, 22.94, 45, false)
	}
	return garden.Site{}, nil, fmt.Errorf("no weather of the name %q", weather)
}

func (c TrialCase) weather(zone *time.Location) ([]garden.DayWeather, error) {
	_, src, err := trialSite(c.Weather)
	if err != nil {
		return nil, err
	}
	rows, _, err := weather.ReadDaily(bytes.NewReader(src), c.Weather, zone)
	return rows, err
}

// trialMixes are illustrative, not measured on any mix: a coarse one that holds
// little, and a fine one that holds much and has little air.
var trialMixes = map[string]garden.Retention{
	"coarse": {Model: garden.VanGenuchten, ThetaR: .08, ThetaS: .80, AlphaPerCM: .25, N: 1.6, KsCMH: 60},
	"fine":   {Model: garden.VanGenuchten, ThetaR: .10, ThetaS: .93, AlphaPerCM: .06, N: 1.6, KsCMH: 15},
}

// trialPot is one pot of a garden of one size class.
type trialPot struct {
	crop     string
	count    int
	canopyM2 float64
	litres   float64
	emitters int // of 2 L/h
}

var trialPots = map[string][]trialPot{
	"small pots": {{"strawberry", 3, 0.05, 20, 2}, {"chilli", 1, 0.20, 25, 2}, {"basil", 2, 0.09, 20, 2}, {"lettuce", 4, 0.05, 30, 2}},
	"large pots": {{"tomato", 2, 0.60, 190, 10}, {"aubergine", 2, 0.50, 150, 8}, {"cucumber", 4, 0.40, 300, 12}, {"sweet pepper", 6, 0.30, 400, 14}},
}

// garden builds the case's garden from the example or from a size class.
func (c TrialCase) garden() (*garden.Garden, error) {
	src := testdata.Terrace
	class, deep := strings.CutSuffix(c.Garden, twoProbes)
	switch pots, ok := trialPots[class]; {
	case ok:
		src = trialFile(pots, deep)
	case c.Garden == "heat spell":
		src = testdata.Heatwave
	case c.Garden != "terrace":
		return nil, fmt.Errorf("no garden of the name %q", c.Garden)
	}
	g, _, err := config.Load(c.Garden, src)
	if err != nil {
		return nil, err
	}
	if g.Site, _, err = trialSite(c.Weather); err != nil {
		return nil, err
	}
	g.Hardware.Kind = garden.Bench
	if c.Tick > 0 {
		g.SampleEvery = c.Tick
	}
	c.bare(g)
	return g, nil
}

// bare leaves what water alone is about: pots without a line stand aside; unless
// the case is about feeding, nobody is fed and leaching is what the case asks.
func (c TrialCase) bare(g *garden.Garden) {
	pots := g.Pots[:0]
	for _, p := range g.Pots {
		lined := true
		for i := range p.Zones {
			if !c.Fed {
				p.Zones[i].Feed, p.Zones[i].LeachingFraction = garden.FeedPlan{}, c.Leaching
				p.Zones[i].LeachByNeed = c.ByNeed
			}
			lined = lined && p.Zones[i].Line != ""
		}
		if lined {
			pots = append(pots, p)
		}
	}
	g.Pots, g.Broker = pots, garden.Broker{}
	if c.ByNeed && !g.Supply.ECmS.Known {
		g.Supply.ECmS = garden.Known(tapMSCM) // what all pots get in any case
	}
	if !c.Fed {
		g.Products = nil
	}
	for i := range g.Lines {
		if !c.Fed {
			g.Lines[i].Injector = garden.Injector{}
		}
		if c.DU > 0 {
			g.Lines[i].DU = c.DU
		}
	}
	if r, ok := trialMixes[c.Mix]; ok {
		for i := range g.Mixes {
			g.Mixes[i].Retention = r
		}
	}
}

// twoProbes after a size class gives each pot a second probe near its floor.
const twoProbes = ", two probes"

// trialFile writes a garden file of pots with a line each, and a probe 12 cm
// under the surface or another at 45 cm as well.
func trialFile(pots []trialPot, deep bool) []byte {
	var b strings.Builder
	b.WriteString(`site: { name: Trial, latitude: 40.64, longitude: 22.94, elevation: 45 m, time-zone: Europe/Athens }
mixes:
  light:
    illustrative: yes
    retention: { model: van-genuchten, theta-r: 10 %, theta-s: 88 %, alpha: 0.15 /cm, n: 1.6, conductivity: 30 cm/h }
    calibration: { method: two-point, points: [ { volts: 2.55 V, water: 10 % }, { volts: 1.35 V, water: 60 % } ] }
    starter: { nitrogen: 250 mg/L, phosphorus: 60 mg/L, potassium: 200 mg/L }
pots:
`)
	for i, p := range pots {
		fmt.Fprintf(&b, "  p%d:\n    mix: light\n    size: %.0f L\n    plants: [ { crop: %s, count: %d, canopy: %.2f m2 } ]\n", i+1, p.litres, p.crop, p.count, p.canopyM2)
		below := ""
		if deep {
			below = fmt.Sprintf(", deep: { depth: 45 cm, input: 0x%x/%d }", 0x4a+i/4, i%4)
		}
		fmt.Fprintf(&b, "    probes: { shallow: { depth: 12 cm, input: 0x%x/%d }%s }\n", 0x48+i/4, i%4, below)
	}
	b.WriteString("lines:\n")
	for i, p := range pots {
		fmt.Fprintf(&b, "  p%d: { valve: { pin: %d }, waters: { p%d: %d x 2 L/h } }\n", i+1, 5+i, i+1, p.emitters)
	}
	b.WriteString("supply: { flow: 60 L/h }\nhardware: { kind: bench }\n")
	return []byte(b.String())
}

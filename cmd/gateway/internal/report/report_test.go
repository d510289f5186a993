package report

import (
	"strings"
	"testing"
	"time"

	"fabricpot/cmd/gateway/internal/journal"
	"fabricpot/control/alarm"
	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var first = time.Date(2031, 6, 1, 0, 0, 0, 0, time.UTC)

// still is a pot of 40 L whose water stands at one fraction for 30 days, by the
// quarter hour, without anything to complain about.
func still(change func(*Zone)) *Zone {
	z := &Zone{ID: "p", VolumeL: 40, Capacity: 0.5, Refill: 0.4, Limit: 0.3, AirSpace: 0.2}
	for q := range 30 * 96 {
		z.Points = append(z.Points, journal.Point{At: first.Add(time.Duration(q) * step), Mean: 0.45, Min: 0.44, Max: 0.46, Refill: garden.Known(0.4), N: 15})
	}
	if change != nil {
		change(z)
	}
	z.balance()
	z.stress()
	return z
}

func TestAdvice(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*Zone)
		says   string
		figure string
	}{
		"nothing wrong": {nil, "Keep it as it is.", "under its refill point for 0 % of the time"},
		// 10 L a day against 0.1 × 40 L = 4 L between full and refill point.
		"pot too small": {func(z *Zone) { z.Water.ThirstyL = 10 }, "Pot too small: plant it in about 60 L", "2.5 fillings a day"},
		"too wet": {func(z *Zone) {
			for i := range z.Points[:960] { // ten days of thirty
				z.Points[i].Mean = 0.52
			}
		}, "Mix too wet", "33 % of the time, 240 h"},
		"no air":              {func(z *Zone) { z.AirSpace = 0.06 }, "coarser one or a deeper pot", "6.0 % air"},
		"emitter weak, meter": {func(z *Zone) { z.Flow.Metered = garden.Known(0.7) }, "Emitters weak", "70 %"},
		"lost emitter":        {func(z *Zone) { z.Flow.Metered = garden.Known(1.4) }, "leak", "140 %"},
		"emitter weak, rise":  {func(z *Zone) { z.Flow.Arrived, z.Flow.Checked = garden.Known(0.4), 9 }, "Emitter weak", "40 % of what was given"},
		"too few to tell":     {func(z *Zone) { z.Flow.Arrived, z.Flow.Checked = garden.Known(0.4), 2 }, "Keep it", ""},
		"feed late, by task":  {func(z *Zone) { z.Feed = Feed{Planned: true, Late: 3, LateDays: 2.5} }, "Feed late", "3 of its feeds"},
		"feed late, by gap": {func(z *Zone) {
			z.Feed = Feed{Planned: true, Times: 6, Usual: garden.Known(7), Longest: garden.Known(15)}
		}, "Feed late", "15 days between two feeds, 7 are usual"},
		"not fed by plan": {func(z *Zone) { z.Feed = Feed{Late: 3} }, "Keep it", ""},
		"limit reached":   {func(z *Zone) { z.Refused = []Count{{garden.CapReached.String(), 30}} }, "higher limit", "30 orders"},
		"bad probe": {func(z *Zone) {
			z.Probes = []journal.ProbeHealth{{Probe: "p-deep", Good: 80, Bad: 20, Fault: garden.OpenCircuit}}
		}, "Look at probe p-deep", "20 %"},
		"by hand, too seldom": {func(z *Zone) {
			z.HandTended = true
			for i := range z.Points[:960] {
				z.Points[i].Mean = 0.35
			}
		}, "Water it more often", "240 h at the longest"},
		"by line, too late": {func(z *Zone) {
			for i := range z.Points[:960] {
				z.Points[i].Mean = 0.35
			}
		}, "It waited too long", "33 %"},
		"wilted":        {func(z *Zone) { z.Points[9].Mean = 0.25 }, "end of the water", "0 h under 30 % water"},
		"nothing in it": {func(z *Zone) { z.Points = nil }, "Too little", "0 h of samples"},
	} {
		t.Run(name, func(t *testing.T) {
			got := advise(still(c.change))
			require.NotEmpty(t, got)
			words := ""
			for _, a := range got {
				assert.NotEmpty(t, a.Figure, "each with its figure")
				words += a.Change + " (" + a.Figure + ")\n"
			}
			assert.Contains(t, words, c.says)
			assert.Contains(t, words, c.figure)
			if strings.HasPrefix(c.says, "Keep") {
				assert.Len(t, got, 1)
			}
		})
	}
}

func TestBalance(t *testing.T) {
	z := still(func(z *Zone) {
		z.Points[len(z.Points)-1].Mean = 0.40
		z.Water.LineL, z.Water.HandL, z.Water.RainL = 30, 5, garden.Known(3)
	})
	// By hand: 30 + 5 + 3 L came, 0.05 × 40 L = 2 L less is held.
	assert.InDelta(t, -2, z.Water.ChangeL.Value, 1e-9)
	assert.InDelta(t, 40, z.Water.GoneL.Value, 1e-9)
}

func TestWaterThatShowed(t *testing.T) {
	line := &garden.Line{ID: "l", Outlets: []garden.Outlet{{Zone: "p", Emitters: 1, FlowLPH: 4}}}
	pulse := func(day int, litres float64) garden.PastDelivery {
		at := first.AddDate(0, 0, day).Add(6 * time.Hour)
		return garden.PastDelivery{Delivery: garden.Delivery{Line: "l", Litres: litres,
			OpenedAt: garden.Moment{Wall: at}, ClosedAt: garden.Moment{Wall: at.Add(30 * time.Minute)}}}
	}
	for name, share := range map[string]float64{"all of it": 1, "half of it": 0.5, "none": 0} {
		t.Run(name, func(t *testing.T) {
			var pulses []garden.PastDelivery
			z := still(func(z *Zone) {
				for day := 1; day < 29; day += 3 {
					pulses = append(pulses, pulse(day, 2)) // 0.05 of 40 L
					from := day*96 + 6*4 + 2
					for q := from; q < from+96; q++ {
						z.Points[q].Mean = 0.42 + 0.05*share
					}
					for q := from - 24; q < from; q++ {
						z.Points[q].Mean = 0.42
					}
				}
			})
			z.flow(line, pulses, 1)
			assert.Equal(t, 10, z.Flow.Checked)
			assert.InDelta(t, share, z.Flow.Arrived.Value, 0.01)
		})
	}
	t.Run("a pot without room for it tells nothing", func(t *testing.T) {
		z := still(nil)
		z.flow(line, []garden.PastDelivery{pulse(2, 4)}, 1)
		assert.Zero(t, z.Flow.Checked)
	})
}

func TestStress(t *testing.T) {
	t.Run("a gap is not known, nor dry", func(t *testing.T) {
		z := still(func(z *Zone) {
			z.Points[0].Mean = 0.35
			z.Points = append(z.Points[:1], z.Points[960:]...)
		})
		assert.InDelta(t, 1.5, z.Stress.UnderRefill, 1e-9)
		assert.InDelta(t, 20*24+1.5, z.Stress.Known, 1e-9)
	})
	t.Run("an empty pot lacks no water", func(t *testing.T) {
		z := still(func(z *Zone) {
			for i := range z.Points[:960] {
				z.Points[i].Mean, z.Points[i].Refill = 0.1, garden.Measured{}
			}
		})
		assert.Zero(t, z.Stress.UnderRefill)
		assert.Zero(t, z.Stress.UnderLimit)
		assert.Equal(t, "Keep it as it is.", advise(z)[0].Change)
	})
}

func TestDeedsTellWhatWasDoneToThePlants(t *testing.T) {
	r := &reader{from: first, plants: []garden.PlantEvent{
		{Kind: garden.Pulled, Zone: "p", Crop: "chilli", On: first.Add(30 * time.Hour)}, {Kind: garden.Pulled, Zone: "q", On: first}}}
	got := r.deeds("p")
	require.Len(t, got, 1)
	assert.Equal(t, "2 June 06:00", got[0].At.Format("2 January 15:04"))
	assert.Equal(t, "chilli "+garden.Pulled.String(), got[0].Words)
}

// A report tells times as the garden's clock does, also of alarms.
func TestAlarmsAreToldInTheGardensTime(t *testing.T) {
	zone := time.FixedZone("EEST", 3*3600)
	at := time.Date(2031, 6, 1, 22, 30, 0, 0, time.UTC)
	r := &reader{from: first.In(zone), alarms: []journal.AlarmEvent{
		{At: garden.Moment{Wall: at}, Kind: "tank low", Event: alarm.Raised.String()},
		{At: garden.Moment{Wall: at.Add(time.Hour)}, Kind: "tank low", Event: alarm.Raised.String()}}}
	got := r.alarmsOf(func(string) bool { return true })
	require.Len(t, got, 1)
	assert.Equal(t, "2 June 01:30", got[0].First.Format("2 January 15:04"))
	assert.Equal(t, "2 June 02:30", got[0].Last.Format("2 January 15:04"))
}

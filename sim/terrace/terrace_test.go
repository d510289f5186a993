package terrace

import (
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fabricpot/control/garden"
	"fabricpot/control/weather"
)

// smallGarden is invented: three pots, two lines.
func smallGarden() *garden.Garden {
	mix := garden.Mix{ID: "loose", Illustrative: true, Retention: garden.Retention{
		Model: garden.VanGenuchten, ThetaR: .10, ThetaS: .88, AlphaPerCM: .15, N: 1.6, KsCMH: 30}}
	pot := func(id string, litres, h, db, dt float64, c string, n int, line string) garden.Pot {
		return garden.Pot{ID: garden.PotID(id), Mix: "loose", VolumeL: litres,
			Shape: garden.Shape{HeightCM: h, BottomDiameterCM: db, TopDiameterCM: dt},
			Zones: []garden.Zone{{ID: garden.ZoneID(id), Pot: garden.PotID(id), Share: 1, Line: garden.LineID(line),
				Exposure: garden.OpenAir, Plants: []garden.Plant{{Crop: c, Count: n}}}}}
	}
	line := func(id string, zone string, n int, lph float64) garden.Line {
		return garden.Line{ID: garden.LineID(id), DU: 0.9, Outlets: []garden.Outlet{{Zone: garden.ZoneID(zone), Emitters: n, FlowLPH: lph}}}
	}
	return &garden.Garden{
		Site:   garden.Site{Name: "test", LatDeg: 47.45, LonDeg: -122.3, ElevationM: 130, Zone: time.FixedZone("here", -8*3600)},
		Mixes:  []garden.Mix{mix},
		Pots:   []garden.Pot{pot("big", 75, 45, 46, 46, "tomato", 1, "one"), pot("small", 20, 28, 28, 32, "chard", 2, "two"), pot("hand", 38, 37, 36, 36, "cucumber", 1, "")},
		Lines:  []garden.Line{line("one", "big", 4, 4), line("two", "small", 2, 4)},
		Supply: garden.Supply{FlowLPH: 100},
	}
}

func seattle(t testing.TB, g *garden.Garden) []garden.DayWeather {
	t.Helper()
	f, err := os.Open("../../testdata/weather/seattle-weather.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, _, err := weather.ReadDaily(f, f.Name(), g.Site.Zone)
	require.NoError(t, err)
	return rows
}

func season(t testing.TB, g *garden.Garden, o Options, tick time.Duration, days int) *Terrace {
	t.Helper()
	te, err := New(g, time.Date(2014, 5, 1, 0, 0, 0, 0, g.Site.Zone), o)
	require.NoError(t, err)
	for d := range days {
		day := time.Duration(d) * 24 * time.Hour
		for at := tick; at <= 24*time.Hour; at += tick {
			switch at - tick {
			case 6 * time.Hour:
				te.SetValve("one", true)
				te.SetValve("two", true)
			case 6*time.Hour + 15*time.Minute:
				te.SetValve("one", false)
				te.SetValve("two", false)
			case 19 * time.Hour:
				if d%2 == 0 {
					te.PourByHand(2, 4)
				}
			}
			te.Advance(day + at)
		}
	}
	return te
}

func TestSeasonAccountsForEveryLitre(t *testing.T) {
	g := smallGarden()
	o := DefaultOptions(7, seattle(t, g))
	te := season(t, g, o, 5*time.Minute, 153)
	for i := range te.Zones() {
		got := te.Totals(i)
		t.Logf("%+v", got)
		in := got.AppliedL + got.RainL
		assert.Less(t, got.MassErrorL, 1e-9*in, "imbalance")
		assert.Greater(t, got.TranspiredL, 0.3*got.PotentialTranspirationL)
	}
}

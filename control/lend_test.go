package control_test

import (
	"math"
	"testing"
	"time"

	"fabricpot/control"
	"fabricpot/control/garden"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// lendGarden is a single pot on a line, without a probe.
func lendGarden() *garden.Garden {
	return &garden.Garden{
		Site:  garden.Site{LatDeg: 40, ElevationM: 10, Zone: time.UTC},
		Mixes: []garden.Mix{{ID: "m", Retention: garden.Retention{Model: garden.VanGenuchten, ThetaR: .1, ThetaS: .88, AlphaPerCM: .15, N: 1.6, KsCMH: 30}}},
		Pots: []garden.Pot{{ID: "p", Mix: "m", VolumeL: 40, Shape: garden.Shape{HeightCM: 35, BottomDiameterCM: 38.15, TopDiameterCM: 38.15},
			Zones: []garden.Zone{{ID: "p", Pot: "p", Share: 1, Line: "l", Exposure: garden.OpenAir, Plants: []garden.Plant{{Crop: "chilli", Count: 1}}}}}},
		Lines:  []garden.Line{{ID: "l", DU: .9, Valve: garden.Valve{Kind: garden.PinValve, Pin: 1}, Outlets: []garden.Outlet{{Zone: "p", Emitters: 4, FlowLPH: 2}}}},
		Supply: garden.Supply{FlowLPH: 100},
		Limits: garden.Limits{MaxOn: 90 * time.Minute, MinRest: 5 * time.Minute, DailyFactor: 2.5},
	}
}

// TestLentLineIsLeftAlone: nothing begins on a line that a feed has in hand, and
// it begins once it is given back.
func TestLentLineIsLeftAlone(t *testing.T) {
	p, _, err := control.NewPlan(lendGarden())
	require.NoError(t, err)
	st := p.NewState()
	now := garden.Moment{Wall: time.Date(2026, 7, 1, 6, 0, 0, 0, time.UTC), Synced: true}
	obs := &garden.Observed{Today: garden.DayWeather{Date: now.Wall, TMinC: garden.Known(18.), TMaxC: garden.Known(32.)}}
	orders := func(lend bool, span time.Duration) (n int) {
		for end := now.Mono + span; now.Mono < end; now = now.Add(time.Minute) {
			st.TakeBack()
			if lend {
				p.Lend(st, "l", true)
				p.Lend(st, "nowhere", true)
			}
			n += len(p.Step(st, now, obs, nil))
		}
		return n
	}
	assert.Zero(t, orders(true, 5*24*time.Hour), "with no probe it would have been watered by the balance")
	assert.Positive(t, orders(false, 24*time.Hour))
	t.Run("kept dry, what a person asks for is given", func(t *testing.T) {
		for _, busy := range []bool{false, true} {
			st := p.NewState()
			obs := *obs
			asked, alone := 0, 0
			for end := now.Mono + 5*24*time.Hour; now.Mono < end; now = now.Add(time.Minute) {
				st.TakeBack()
				p.KeepDry(st, "l")
				p.KeepDry(st, "nowhere")
				if busy {
					p.Lend(st, "l", false)
				}
				if obs.Asks = obs.Asks[:0]; end-now.Mono == 24*time.Hour {
					obs.Asks = append(obs.Asks, garden.Ask{Kind: garden.AskWater, Zone: "p", Litres: 2})
				}
				for _, o := range p.Step(st, now, &obs, nil) {
					if o.Kind == garden.ByHand {
						asked++
					} else {
						alone++
					}
				}
			}
			assert.Zero(t, alone, "%v", busy)
			assert.Equal(t, !busy, asked > 0, "%v", busy)
		}
	})
	for _, v := range []float64{math.NaN(), math.Inf(1), -1, 1, 4} {
		p.Doubt(st, "p", v)
		p.Doubt(st, "nowhere", v)
	}
	orders(false, time.Hour)
}

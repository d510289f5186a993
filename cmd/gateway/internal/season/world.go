package season

import (
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
	"fabricpot/valves"
)

// World is the simulated terrace of a garden and its wiring before a gateway is
// there: NewBench puts one into it, as Options.World.
type World struct {
	Bench   *Bench // nothing of a gateway is in it yet
	Start   time.Time
	Weather []garden.DayWeather
}

// NewWorld makes one and drives every line that is wired to it closed, as a start on
// a board does. It asks for no plan. played tells that the bench plays what hangs on
// a broker as well; else those lines are left to the broker and out of the report.
func NewWorld(g *garden.Garden, played bool, o Options) (*World, runner.CloseReport, error) {
	whole := wired(g)
	b := &Bench{Garden: whole, start: o.Start}
	var rep runner.CloseReport
	if err := b.settle(whole, o); err != nil {
		return nil, rep, err
	}
	act := make(map[garden.LineID]valves.Actuator, len(whole.Lines))
	for i := range whole.Lines {
		l := &whole.Lines[i]
		a, err := b.wire(l, o.coil)
		if err != nil {
			return nil, rep, err
		}
		if pin := b.Wires.InjectorPin(l.ID); pin != nil {
			a = valves.WithInjector(a, valves.NewCoil(o.coil(pin), l.Injector.ActiveLow))
		}
		act[l.ID] = a
	}
	b.behindPump(act, o.coil)
	for i := range g.Lines {
		l := &g.Lines[i]
		if l.Valve.Kind == garden.RemoteValve && !played {
			continue
		}
		rep.Lines++
		if err := act[l.ID].Close(); err != nil {
			return nil, rep, err
		}
		if closed, known := act[l.ID].Closed(); closed && known {
			rep.Closed++
		} else {
			rep.Unconfirmed = append(rep.Unconfirmed, l.ID)
		}
	}
	return &World{Bench: b, Start: o.Start, Weather: o.Weather}, rep, nil
}

// fed reports whether any zone of a garden is fed.
func fed(g *garden.Garden) (any bool) {
	g.EachZone(func(_ *garden.Pot, z *garden.Zone) { any = any || z.Feed.Fed() })
	return any
}

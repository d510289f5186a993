package main

import (
	"os"
	"time"

	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/feeding"
	"fabricpot/control/garden"
	"fabricpot/sensors"
	"fabricpot/sensors/w1"
	"fabricpot/valves"
)

// assembleBoard wires a garden to its opened hardware. It opens no valve.
func assembleBoard(u *understood, hw *board, keeper *runner.Keeper, tell runner.Teller, clock boardClock, far runner.Far) (*runner.Loop, error) {
	for i := range u.garden.Lines {
		if l := &u.garden.Lines[i]; l.Valve.Kind == garden.RemoteValve && far != nil {
			hw.actuators[l.ID] = hw.pumped(far.Valve(l.ID))
		}
	}
	guard, err := valves.NewGuard(u.garden, hw.actuators, keeper, valves.Options{PeakNeedL: u.plan.PeakNeedsL(), DryFillL: u.plan.DryFillsL()})
	if err != nil {
		return nil, err
	}
	gauges, _, err := hw.openGauges(u.garden, os.Stderr)
	if err != nil {
		return nil, err
	}
	begun := time.Now()
	times := runner.NewReadTimes(func() time.Duration { return time.Since(begun) })
	wired := func(g *garden.Garden, _ []int) (runner.Sampler, error) {
		warmth, err := hw.openThermometers(g, os.DirFS(w1.Devices), os.Stderr)
		if err != nil {
			return nil, err
		}
		return sensors.NewSampler(g, times.Wrap(openInputs(u.garden, hw)), sensors.Options{TempC: warmth})
	}
	var sky runner.Sky = runner.NewUsualSky(u.garden.Site)
	var sampler runner.Sampler
	if far == nil {
		sampler, err = wired(u.garden, nil)
	} else {
		sampler, err = far.Sampler(u.garden, wired)
		sky = far.Sky(sky)
	}
	if err != nil {
		return nil, err
	}
	feeds, err := feeding.NewPlan(u.garden, u.plan)
	if err != nil {
		return nil, err
	}
	return runner.New(runner.Parts{
		Feeding: feeds, FeedJournal: keeper.Journal,
		Garden: u.garden, Plan: u.plan, State: u.plan.NewState(), Sampler: sampler, Guard: guard,
		Gauges: gauges, Sky: sky, Far: far, Journal: keeper, History: keeper,
		ReadTimes: times, SinceBoot: clock.SinceBoot(), JournalPath: keeper.Path(), Tell: tell,
	})
}

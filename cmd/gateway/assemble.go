package main

import (
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/control/garden"
	"fabricpot/sensors"
	"fabricpot/valves"
)

// assembleBoard wires a garden to its opened hardware. It opens no valve.
func assembleBoard(u *understood, hw *board, keeper *runner.Keeper, tell runner.Teller, clock runner.BoardClock) (*runner.Loop, error) {
	peak := make(map[garden.LineID]float64, len(u.garden.Lines))
	for _, l := range u.plan.Lines() {
		peak[l.ID] = l.PeakDailyL
	}
	guard, err := valves.NewGuard(u.garden, hw.actuators, keeper, valves.Options{PeakNeedL: peak})
	if err != nil {
		return nil, err
	}
	sampler, err := sensors.NewSampler(u.garden, openInputs(u.garden, hw), sensors.Options{})
	if err != nil {
		return nil, err
	}
	return runner.New(runner.Parts{
		Garden: u.garden, Plan: u.plan, State: u.plan.NewState(), Sampler: sampler, Guard: guard,
		Sky: runner.NewUsualSky(u.garden.Site), Journal: keeper, History: keeper.Journal,
		SinceBoot: clock.SinceBoot(), JournalPath: keeper.Path(), Tell: tell,
	})
}

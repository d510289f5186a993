package main

import (
	"context"
	"errors"
	"fmt"

	"fabricpot/cmd/gateway/internal/season"

	"github.com/spf13/pflag"
)

// faultFlags are those of a fault campaign.
type faultFlags struct {
	on    bool
	clean bool
	seeds int
	days  int
}

func (f *faultFlags) flags(fl *pflag.FlagSet) {
	fl.BoolVar(&f.on, "faults", false, "play a campaign of random terraces with faults in place of a season")
	fl.BoolVar(&f.clean, "clean", false, "with --faults: only runs in which nothing goes wrong; every alarm is a false one, and a failure")
	fl.IntVar(&f.days, "days", 30, "with --faults --clean: how long each run lasts")
	fl.IntVar(&f.seeds, "seeds", 10, "with --faults: how many seeds, from --seed on; a seed takes some seconds")
}

// misplaced finds what would be left unread.
func (f *faultFlags) misplaced(fl *pflag.FlagSet) error {
	for _, x := range []struct {
		name, needs, or string
		there           bool
	}{
		{"clean", "--faults", "leave it out", f.on},
		{"seeds", "--faults", "choose one season by --seed", f.on},
		{"days", "--faults --clean", "say how long a season lasts by --from and --to", f.on && f.clean},
	} {
		if fl.Changed(x.name) && !x.there {
			return wrongUse{fmt.Errorf("--%s belongs to %s: add that, or %s", x.name, x.needs, x.or)}
		}
	}
	return nil
}

// errPromise is what a campaign that broke a promise ends with.
var errPromise = errors.New("a promise was broken; each failed run above is repeated by its seed")

// errFalseAlarm is what one ends with that raised an alarm where nothing was wrong.
var errFalseAlarm = errors.New("an alarm rose where nothing was wrong, which is a promise broken; each is listed above and seen again with --clean and its seed and days")

// simulateFaults plays a campaign.
func simulateFaults(ctx context.Context, s streams, args []string, f simulateFlags) error {
	switch {
	case len(args) > 0:
		return wrongUse{errors.New("--faults makes terraces of its own and takes no FILE")}
	case f.weather != "" || f.from != "" || f.to != "" || f.journal != "" || f.report != "":
		return wrongUse{errors.New("--faults makes its own weather and days: leave out --weather, --from, --to, --journal and --report")}
	case f.faults.seeds < 1 || f.faults.seeds > 100000:
		return wrongUse{fmt.Errorf("--seeds %d: expected 1 to 100000", f.faults.seeds)}
	case f.faults.days < 2 || f.faults.days > 200:
		return wrongUse{fmt.Errorf("--days %d: expected 2 to 200", f.faults.days)}
	}
	c, err := playFaults(ctx, s, f)
	if err != nil {
		return err
	}
	return tellFaults(s, f.json, c)
}

// tellFaults prints what a campaign came to. An error tells of a promise that was
// broken: an invariant, or that no alarm rises where nothing is wrong.
func tellFaults(s streams, asJSON bool, c *season.Campaign) error {
	tell := c.WriteTable
	if asJSON {
		tell = c.WriteJSON
	}
	if err := tell(s.out); err != nil {
		return err
	}
	var broken []error
	if len(c.Failed) > 0 {
		broken = append(broken, errPromise)
	}
	if len(c.False) > 0 {
		broken = append(broken, errFalseAlarm)
	}
	return errors.Join(broken...)
}

// playFaults plays the campaign or its clean part.
func playFaults(ctx context.Context, s streams, f simulateFlags) (*season.Campaign, error) {
	if f.faults.clean {
		bar := barOf(s, f.faults.seeds, "runs")
		defer func() { _ = bar.Finish() }()
		return season.RunClean(ctx, f.seed, f.faults.seeds, f.faults.days, func() { _ = bar.Add(1) })
	}
	bar := barOf(s, season.CampaignRuns(f.faults.seeds, 0), "runs")
	defer func() { _ = bar.Finish() }()
	return season.RunCampaign(ctx, f.seed, f.faults.seeds, 0, func() { _ = bar.Add(1) })
}

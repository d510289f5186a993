package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"time"

	"fabricpot/cmd/gateway/internal/page"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control/crop"
	"fabricpot/control/garden"

	"github.com/spf13/cobra"
)

func newPlant(s streams) *cobra.Command {
	var f workFlags
	var e garden.PlantEvent
	var leaves, surface float64
	var on, exposure, litres string
	cmd := &cobra.Command{
		Use:   "plant EVENT POT [STAGE]",
		Short: "Tell what was done to the plants, so that their need is reckoned anew",
		Long: `plant tells the gateway what you did to the plants of a pot or zone, or what you
see of them. Canopy, rooting and water need follow from that day on, and a
restart does not forget it.

  planted     new plants stand there; --count where it is not the garden file's
  pruned      --leaves, the share of the leaves taken off, in %; they grow back,
              half of them in a fortnight
  harvested   --leaves where leaves went with it, as of chard or lettuce
  pulled      the plants are gone: an empty pot gets no water until 'planted'. A line
              that waters others too still brings it its share: shut its emitters
  mulched     --surface, the share of the surface now covered, in %; 0 takes it off
  topped-up   --litres of mix added; mind that the probes now sit deeper. The pot's
              whole volume is all its mix new: salts are reckoned anew. No plant that
              is pulled or set takes them out
  moved       --exposure sheltered, open or windy-paved
  seen        STAGE, such as flowering, fruiting or ripening

The running gateway takes it; with none running it goes into the journal of the
garden named with --garden and counts from the next start.`,
		Example: "  gateway plant seen aubergine fruiting\n  gateway plant pruned chilli --leaves 30\n  gateway plant planted trough-bean --count 12",
		Args:    usage(cobra.RangeArgs(2, 3)),
		RunE: func(cmd *cobra.Command, args []string) error {
			kind, ok := garden.PlantEventNamed(args[0])
			if !ok {
				return wrongUse{fmt.Errorf("event %.40q, expected planted, pruned, harvested, pulled, mulched, topped-up, moved or seen", args[0])}
			}
			e.Kind, e.Zone, e.Exposure = kind, garden.ZoneID(args[1]), garden.Exposure(exposure)
			if len(args) == 3 {
				if kind != garden.SeenAt {
					return wrongUse{fmt.Errorf("%q is too much: only 'seen' takes a stage", args[2])}
				}
				e.Stage = args[2]
			}
			switch kind {
			case garden.Pruned:
				if !cmd.Flags().Changed("leaves") {
					return wrongUse{errors.New("pruned: say with --leaves what share of the leaves was taken off, in %")}
				}
				if leaves == 0 {
					return wrongUse{errors.New("--leaves 0: expected over 0 to 100, the share of the leaves taken off, in %")}
				}
				e.Share = leaves / 100
			case garden.Harvested:
				e.Share = leaves / 100
			case garden.Mulched:
				e.Share = surface / 100
			case garden.SeenAt:
				// The names of stages are the same for all plants.
				if _, err := (crop.Crop{Name: "plants"}).BeginsAt(e.Stage); len(args) == 3 && err != nil {
					return wrongUse{err}
				}
			}
			if cmd.Flags().Changed("count") && e.Count < 1 {
				return wrongUse{fmt.Errorf("--count %d: expected 1 to 500 plants", e.Count)}
			}
			if litres != "" {
				l, err := units.Volume().Parse(withLitres(litres))
				if err != nil || !garden.Finite(l) || l <= 0 {
					return wrongUse{fmt.Errorf("--litres %q: expected over 0, such as 2.5, or with a unit: 0.5 gal", litres)}
				}
				e.Litres = l
			}
			if on != "" {
				t, err := time.Parse(time.DateOnly, on)
				if err != nil {
					return wrongUse{fmt.Errorf("--on %q: expected a date such as 2026-04-15", on)}
				}
				// Noon: the same day in every zone but the farthest.
				e.On = t.Add(12 * time.Hour)
			}
			if err := e.Check(); err != nil {
				return wrongUse{err}
			}
			var to page.Planted
			err := page.NewClient(f.socket).Do(cmd.Context(), "POST", "/plant", e, &to)
			if errors.Is(err, page.ErrNobody) {
				to.Stands, err = f.plantAlone(s, e, err)
			}
			if err == nil {
				fmt.Fprintf(s.out, "%s: %s\n", e.Zone, e.String())
				if to.Stands {
					fmt.Fprintln(s.out, "Plants came there after that day, or on it by the garden file: those stand, and are\nwatered as before. If it is they that are out, enter a pull for today, or take them from the garden file.")
				}
			}
			return err
		},
	}
	f.on(cmd)
	f.garden(cmd)
	fl := cmd.Flags()
	fl.StringVar(&e.Crop, "crop", "", "which of the zone's plants, by `CROP`; none: all")
	fl.StringVar(&on, "on", "", "the `DATE` it happened; none: now")
	fl.Float64Var(&leaves, "leaves", 0, "share of the leaves taken off, in `%`")
	fl.Float64Var(&surface, "surface", 100, "share of the surface that is mulched, in `%`")
	fl.StringVar(&litres, "litres", "", "mix that was added, in `L`")
	fl.IntVar(&e.Count, "count", 0, "how many were planted, `N`")
	fl.StringVar(&exposure, "exposure", "", "where the pot stands now: sheltered, open or windy-paved")
	return cmd
}

// plantAlone puts an event into the journal of a garden that no gateway runs.
func (f *workFlags) plantAlone(s streams, e garden.PlantEvent, nobody error) (stands bool, err error) {
	if f.file == "" {
		return false, fmt.Errorf("%w: name the garden file with --garden to use its journal", nobody)
	}
	u, err := understand([]string{f.file})
	if err != nil {
		return false, err
	}
	if err := u.plan.CheckPlant(&e); err != nil {
		return false, err
	}
	where, err := f.journalPath(u)
	if err != nil {
		return false, err
	}
	if _, err := os.Stat(where); errors.Is(err, fs.ErrNotExist) {
		return false, fmt.Errorf("%w, and there is no journal at %s yet: start the gateway once, or name its journal with --journal", nobody, where)
	}
	j, err := openAlone(s, where)
	if err != nil {
		return false, err
	}
	defer j.Close()
	now := runner.NewBoardClock(u.garden.Site.Zone).Moment()
	if err := e.CheckDay(now.Wall); err != nil {
		return false, wrongUse{err}
	}
	fmt.Fprintln(s.err, "no gateway is running: on its journal", where)
	if _, z, ok := u.garden.Zone(e.Zone); ok {
		stands = z.Outlives(&e, now.Wall)
	}
	return stands, j.AddPlantEvent(now, e, "command line")
}

package main

import (
	"errors"
	"fmt"
	"math"

	"fabricpot/cmd/gateway/internal/page"
	"fabricpot/cmd/gateway/internal/runner"
	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control/garden"
	"fabricpot/control/task"

	"github.com/spf13/cobra"
)

func newDone(s streams) *cobra.Command {
	var f workFlags
	var litres string
	var in page.DoneRequest
	cmd := &cobra.Command{
		Use:   "done TASK",
		Short: "Say that a task of the rounds was done",
		Long: `done records that a task of 'gateway rounds' was done, with the litres that you
gave where it is about pouring; without --litres the task's own are taken. A task
that was reported before is asked about: --again says that it was done a second
time. --drop "why" says that it won't be done; a feed is then due an interval
later.

It goes through the running gateway; with none running, onto the journal of the
garden in --garden.`,
		Example: "  gateway done feed-chilli-3 --litres 2\n  gateway done water-chard-20260702 --litres 4.5 --note \"a little ran out\"",
		Args:    usage(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			in.Task = args[0]
			if in.Drop != "" && (litres != "" || in.Again) {
				return wrongUse{errors.New("--drop says that it was not done: leave out --litres and --again")}
			}
			if litres != "" {
				l, err := units.Volume().Parse(withLitres(litres))
				if err != nil || math.IsNaN(l) || l < 0 || l > 1000 {
					return wrongUse{fmt.Errorf("--litres %q: expected 0 to 1000, such as 2.5, or with a unit: 0.5 gal", litres)}
				}
				in.Litres = &l
			}
			err := f.ask(cmd.Context(), s, "POST", "/done", in, nil, func(b *runner.FeedBook, now garden.Moment) error {
				if in.Drop != "" {
					return b.Drop(now, in.Task, in.Drop)
				}
				_, err := b.Done(now, in.Task, in.Report())
				return err
			})
			if err != nil {
				if errors.Is(err, task.ErrAsk) {
					return fmt.Errorf("%w (--again)", err)
				}
				return err
			}
			word := "done"
			if in.Drop != "" {
				word = "dropped"
			}
			fmt.Fprintf(s.out, "%s: %s\n", in.Task, word)
			return nil
		},
	}
	f.on(cmd)
	f.garden(cmd)
	fl := cmd.Flags()
	fl.StringVar(&litres, "litres", "", "the `LITRES` that you gave")
	fl.StringVar(&in.Note, "note", "", "a few `words`")
	fl.BoolVar(&in.Again, "again", false, "it was done a second time")
	fl.StringVar(&in.Drop, "drop", "", "it won't be done, and `why`")
	return cmd
}

// withLitres adds the unit that a bare number means.
func withLitres(s string) string {
	if _, rest, err := units.Number(s); err == nil && rest == "" {
		return s + " L"
	}
	return s
}

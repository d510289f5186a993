package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

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
	var drain float64
	var in page.DoneRequest
	cmd := &cobra.Command{
		Use:   "done TASK",
		Short: "Say that a task of the rounds was done",
		Long: `done records that a task of 'gateway rounds' was done, with the litres that you
gave where it is about pouring; without --litres the task's own are taken. A task
that was reported before is asked about: --again says that it was done a second
time. --drop "why" says that it won't be done; a feed is then due an interval
later. --drain-ec enters what drained below after a feed or a flush, mS/cm.

It goes through the running gateway; with none running, onto the journal of the
garden in --garden.`,
		Example: "  gateway done feed-chilli-3 --litres 2\n  gateway done water-chard-20260702 --litres 4.5 --note \"a little ran out\"",
		Args:    usage(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			in.Task = args[0]
			if cmd.Flags().Changed("drop") && strings.TrimSpace(in.Drop) == "" {
				return wrongUse{errors.New("--drop is empty: expected why it won't be done")}
			}
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
			o := runner.Observation{DrainMS: &drain}
			measured := cmd.Flags().Changed("drain-ec")
			var gave float64
			if measured || in.Litres == nil {
				// Found while it is open; nothing is entered if that fails.
				t, err := f.open(cmd.Context(), s, in.Task)
				if err == nil && measured && t.Zone == "" {
					err = fmt.Errorf("%s is no open task about a pot, so --drain-ec has none: enter it with 'gateway note POT --drain-ec'", in.Task)
				}
				if err != nil {
					return err
				}
				o.Zone, gave = t.Zone, t.Litres
			}
			if in.Litres != nil {
				gave = *in.Litres
			}
			err := f.ask(cmd.Context(), s, "POST", "/done", in, nil, func(b *runner.FeedBook, now garden.Moment) error {
				if in.Drop != "" {
					return b.Drop(now, in.Task, in.Drop)
				}
				_, err := b.Done(now, in.Task, in.Report())
				return err
			})
			if err != nil {
				// Of a running gateway only the words come.
				if errors.Is(err, task.ErrAsk) || strings.HasPrefix(err.Error(), task.ErrAsk.Error()) {
					return fmt.Errorf("%w (--again)", err)
				}
				return err
			}
			if measured {
				err := f.ask(cmd.Context(), streams{out: s.out, err: io.Discard}, "POST", "/note", o, nil, func(b *runner.FeedBook, now garden.Moment) error {
					_, err := b.Note(now, o, "command line")
					return err
				})
				if err != nil {
					return err
				}
			}
			word := "done"
			if in.Drop != "" {
				word = "dropped"
			} else if gave > 0 {
				word = fmt.Sprintf("done, %.4g L", gave)
			}
			fmt.Fprintf(s.out, "%s: %s\n", in.Task, word)
			return nil
		},
	}
	f.on(cmd)
	f.garden(cmd)
	fl := cmd.Flags()
	fl.StringVar(&litres, "litres", "", "the `LITRES` that you gave")
	fl.Float64Var(&drain, "drain-ec", 0, "conductivity of what drained below, `MS` mS/cm")
	fl.StringVar(&in.Note, "note", "", "a few `words`")
	fl.BoolVar(&in.Again, "again", false, "it was done a second time")
	fl.StringVar(&in.Drop, "drop", "", "it won't be done, and `why`")
	return cmd
}

// open is an open task, the zero one where there is none of that name.
func (f *workFlags) open(ctx context.Context, s streams, name string) (task.Listed, error) {
	var r runner.Rounds
	err := f.ask(ctx, streams{out: s.out, err: io.Discard}, "GET", "/rounds", nil, &r, func(b *runner.FeedBook, now garden.Moment) error {
		r = b.List(now.Wall)
		return nil
	})
	for _, t := range r.Tasks {
		if t.ID == name {
			return t, err
		}
	}
	return task.Listed{}, err
}

// withLitres adds the unit that a bare number means.
func withLitres(s string) string {
	if _, rest, err := units.Number(s); err == nil && rest == "" {
		return s + " L"
	}
	return s
}
